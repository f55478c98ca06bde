"""Draws a ticket's life for DEVELOPERS.md from the table that rules it, `LIFE` in `portraitq/core/life.py`.

    python scripts/draw_life.py            prints the table
    python scripts/draw_life.py --write    puts it between the marks in DEVELOPERS.md

It needs the project's environment (`.venv/bin/python`). A test notices when DEVELOPERS.md shows an older life.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from portraitq.core.life import ANYWHERE, LIFE  # noqa: E402  # the line above says where it is

BEGINS, ENDS = "<!-- life -->", "<!-- /life -->"


def main(wishes: list[str]) -> int:
    if not wishes:
        print(drawn_life(), end="")
        return 0
    if wishes != ["--write"]:
        print("Usage: python scripts/draw_life.py [--write]", file=sys.stderr)
        return 2
    page = ROOT / "DEVELOPERS.md"
    page.write_text(with_life(page.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
    print(f"{page.name} shows the life as it is now.", file=sys.stderr)
    return 0


def drawn_life() -> str:
    """The table in Markdown: a row for each place, with the kinds that may follow there and where each leads."""
    rows = ["| a ticket that is | may be followed by, and is then |", "| --- | --- |"]
    for place, follows in LIFE.items():
        steps = [f"`{kind}` → {'the same' if leads_to == place else leads_to}" for kind, leads_to in follows.items()]
        rows.append(f"| {place} | {' · '.join(steps) or 'nothing more'} |")
    anywhere = ", ".join(f"`{kind}`" for kind in sorted(ANYWHERE))
    return "\n".join([*rows, "", f"Wherever it is, and without leaving its place: {anywhere}.", ""])


def life_in(page: str) -> str:
    """What `page` shows between the marks; ValueError when they are not there once each, in order."""
    if page.count(BEGINS) != 1 or page.count(ENDS) != 1 or page.index(BEGINS) > page.index(ENDS):
        raise ValueError(f"The marks {BEGINS} and {ENDS} were expected once each, in this order.")
    return page.partition(BEGINS)[2].partition(ENDS)[0]


def with_life(page: str) -> str:
    """`page` with the life as it is now between its marks."""
    return page.replace(f"{BEGINS}{life_in(page)}{ENDS}", f"{BEGINS}\n{drawn_life()}{ENDS}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
