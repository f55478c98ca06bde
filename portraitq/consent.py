"""A child sits only with the yes of a parent or guardian, written down with the order: one rule for every way in.

Whether somebody counts as a child, and what a yes must look like, is for local rules to say; the booth's people tick
and write.
"""

from __future__ import annotations

from portraitq.core.errors import Malformed

MISSING = "A sitter is a child: write down which parent or guardian agreed."


def need(is_child: bool, consent_by: str) -> None:
    """Malformed, field "consent_by", where a child would sit and nobody wrote down who agreed."""
    if is_child and not consent_by.strip():
        raise Malformed(MISSING, "consent_by")
