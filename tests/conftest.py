"""What every test has: generated journals are the same on every run, so that a failure can be looked at again."""

from hypothesis import settings

settings.register_profile("portraitq", derandomize=True, deadline=None)
settings.load_profile("portraitq")
