"""How many cases a property is tried on, and where the tests are that read the clock.

With HYPOTHESIS_PROFILE=torture twenty times as many; with `brief`, as in `make test`, two fifths of
them; with `quick`, for tests that are run over and over, a fifth.
"""

import os

from hypothesis import settings

# Start real processes, which read the machine's clock; what runs here by `tunnelbook` has its own.
READS_CLOCK = ("cli", "test_readme.py", "test_workflows.py")
HAS_ITS_OWN_CLOCK = ("test_warm_equals_cold.py", "test_circumstances.py")

TORTURE, BRIEF, QUICK = "torture", "brief", "quick"
PROFILE = os.environ.get("HYPOTHESIS_PROFILE", "patient")
_FACTOR = {TORTURE: 20, BRIEF: 0.4, QUICK: 0.2}.get(PROFILE, 1)
_USUAL_EXAMPLES = 100


def examples(count: int) -> int:
    """As `max_examples` of a property that takes another number than the usual 100."""
    return max(1, round(count * _FACTOR))


def load_profile() -> None:
    # How long an example takes says nothing on a machine that others share.
    settings.register_profile("patient", deadline=None, derandomize=bool(os.environ.get("CI")))
    for profile in (TORTURE, BRIEF, QUICK):
        settings.register_profile(profile, deadline=None, max_examples=examples(_USUAL_EXAMPLES))
    settings.load_profile(PROFILE)
