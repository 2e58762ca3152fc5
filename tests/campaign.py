"""How many cases a property is tried on: with HYPOTHESIS_PROFILE=torture twenty times as many."""

import os

from hypothesis import settings

TORTURE = "torture"
PROFILE = os.environ.get("HYPOTHESIS_PROFILE", "patient")
_FACTOR = 20 if PROFILE == TORTURE else 1
_USUAL_EXAMPLES = 100


def examples(count: int) -> int:
    """As `max_examples` of a property that takes another number than the usual 100."""
    return count * _FACTOR


def load_profile() -> None:
    # How long an example takes says nothing on a machine that others share.
    settings.register_profile("patient", deadline=None, derandomize=bool(os.environ.get("CI")))
    settings.register_profile(TORTURE, deadline=None, max_examples=examples(_USUAL_EXAMPLES))
    settings.load_profile(PROFILE)
