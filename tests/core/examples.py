"""One good example of each kind of the journal, as plain JSON values."""

from typing import Any

AT = "2026-06-06T09:00:00.000Z"
GOOD: dict[str, dict[str, Any]] = {
    "set_up": {
        "booth": {
            "name": "Quayside Portraits",
            "zone": "Europe/Lisbon",
            "currency": "EUR",
            "confidence": 0.85,
            "round_to_s": 300,
        },
        "styles": [
            {
                "id": "ink-head",
                "name": "Ink head study",
                "price": 1800,
                "stages": [
                    {
                        "id": "layout",
                        "name": "Layout",
                        "quick_s": 60,
                        "usual_s": 100,
                        "slow_s": 180,
                        "per_sitter": True,
                    }
                ],
            }
        ],
        "artists": [{"id": "a1", "name": "First easel", "styles": ["ink-head"]}],
        "turnaround": {"quick_s": 40, "usual_s": 70, "slow_s": 150},
    },
    "day_opened": {
        "day": "2026-06-06",
        "closes_at": "2026-06-06T18:00:00.000Z",
        "breaks": [{"artist": "a1", "from": "2026-06-06T12:00:00.000Z", "to": "2026-06-06T12:30:00.000Z"}],
    },
    "day_closed": {},
    "artist_in": {"artist": "a1"},
    "artist_out": {"artist": "a1"},
    "ordered": {"ticket": "T1", "number": 1, "style": "ink-head", "sitters": 2, "artist": None, "price": 1800},
    "promised": {"ticket": "T1", "ready_by": "2026-06-06T09:20:00.000Z", "confidence": 0.85},
    "walked_away": {"style": "ink-head", "sitters": 1, "ready_by": "2026-06-06T10:20:00.000Z"},
    "started": {"ticket": "T1", "artist": "a1"},
    "stage_done": {"ticket": "T1", "stage": "layout"},
    "stage_undone": {"ticket": "T1", "stage": "layout"},
    "paused": {"ticket": "T1", "why": "supplies"},
    "resumed": {"ticket": "T1"},
    "put_back": {"ticket": "T1"},
    "held": {"ticket": "T1", "why": "photo"},
    "released": {"ticket": "T1"},
    "moved": {"ticket": "T1", "before": "T2"},
    "finished": {"ticket": "T1", "rack": "A4"},
    "collected": {"ticket": "T1"},
    "touched_up": {"ticket": "T1", "artist": "a1"},
    "cancelled": {"ticket": "T1", "why": "no_show"},
    "paid": {"ticket": "T1", "amount": -1800, "how": "card"},
    "erased": {"ticket": "T1"},
}
