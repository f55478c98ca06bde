"""Who agreed to the photo of a child, as it stands beside the photo."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from portraitq.store.cards import Card

MISSING = "A child: nobody wrote down which parent or guardian agrees."


def consent_said(card: Card | None) -> str:
    """One line for the booth's people; empty where nothing is to be said."""
    if card is None or card.is_erased:
        return ""
    if card.is_child:
        return f"A child: {card.consent_by} agrees to the photo." if card.consent_by else MISSING
    return f"Agreed to the photo: {card.consent_by}." if card.consent_by else ""
