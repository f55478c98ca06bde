"""Tests, mirroring the package; `tests.builders` tells a booth's day in the booth's own words."""
