"""portraitq: a portrait queue and timing board for artists who draw portraits live."""

import os

__version__ = "0.1.0"

# Our matrices are small: threads of the linear algebra only wait for each other, most of all on a board with two cores.
# It must be said before numpy is loaded for the first time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
