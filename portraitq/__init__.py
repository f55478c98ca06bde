"""portraitq: a portrait queue and timing board for artists who draw portraits live."""

__version__ = "0.1.0"
