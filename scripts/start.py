#!/usr/bin/env python3
"""Starts portraitq on a machine with nothing but Python.

python3 scripts/start.py             the service; what follows goes to `portraitq serve`, for example --port 8751
python3 scripts/start.py demo        the demo; what follows goes to `portraitq demo`

The first time it makes a virtual environment (see environment.py), later it starts at once.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  (whoever has an older one shall read a sentence, not a SyntaxError)
    sys.exit(
        f"portraitq needs Python 3.11 or newer, and this is {sys.version.split()[0]} ({sys.executable}). "
        "Install a newer one from your system's packages or from python.org, and run this with it."
    )

import environment


def portraitq_command(arguments: "list[str]") -> "list[str]":
    """What portraitq is asked: `serve` where no other of the two is named."""
    return arguments if arguments[:1] in (["serve"], ["demo"]) else ["serve", *arguments]


def main() -> int:
    try:
        python = environment.ready()
    except KeyboardInterrupt:
        sys.exit("Interrupted before the environment stood. Run this again, and it is made anew.")
    # -P: a file of the current folder that is called flask.py must not be taken for Flask
    return environment.become(python, "-P", "-m", "portraitq", *portraitq_command(sys.argv[1:]))


if __name__ == "__main__":
    sys.exit(main())
