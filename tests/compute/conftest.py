"""Property tests run without a time limit: a busy machine must not fail a right answer."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
