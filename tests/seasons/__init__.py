"""Simulated seasons that know better: booths whose truth differs from the forecast's assumptions, and their oracle."""
