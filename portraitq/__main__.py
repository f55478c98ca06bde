"""`python -m portraitq` is `portraitq`."""

from portraitq.cli import main

if __name__ == "__main__":
    main()
