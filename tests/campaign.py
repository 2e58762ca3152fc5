"""How many cases a property or a long table is tried on, and which tests read the clock.

With HYPOTHESIS_PROFILE=torture a property takes twenty times as many; with `brief`, as in `make
test`, a quarter, and a long table a third; with `quick`, for tests that are run over and over, a
fifth.
"""

import os
import random
from collections import defaultdict
from collections.abc import Iterable, Iterator

import pytest
from hypothesis import settings

# Start real processes, which read the machine's clock; what runs here by `tunnelbook` has its own.
READS_CLOCK = ("cli", "test_readme.py", "test_workflows.py")
HAS_ITS_OWN_CLOCK = ("test_warm_equals_cold.py", "test_circumstances.py")

# Each case of these starts programs or makes a repository.
LONG_TABLES = frozenset(
    {
        "test_a_disk_that_is_full",
        "test_a_statement_survives_every_way_to_merge",
        "test_an_attack_is_named",
        "test_each_trap_between_a_kept_answer_and_the_next",
        "test_loads_nothing_heavy",
        "test_nobody_is_accused",
        "test_old_bytes_or_new_bytes",
        "test_plain_git_runs_what_a_repository_names_and_this_package_does_not",
        "test_something_else_where_a_file_is_wanted",
        "test_something_else_where_site_yaml_is_wanted",
        "test_streams_that_are_closed_or_full",
        "test_the_comment_is_computed_from_the_default_branch",
        "test_the_first_things_a_new_user_types",
        "test_the_note_takes_the_place_of_the_one_before",
        "test_what_hides_in_a_move_is_found",
        "test_what_may_not_be_read_is_named",
        "test_what_no_statement_covers",
        "test_what_was_looked_into_is_closed_and_stays_to_be_read",
        "test_words_that_cannot_be_used",
    }
)
# Whole stories of processes and repositories; drawn from like the rows of a long table.
STORIES = frozenset(
    {
        "test_approve.py",
        "test_book_branch.py",
        "test_first_morning.py",
        "test_guide.py",
        "test_record_dialogue.py",
        "test_statements.py",
        "test_watch.py",
        "test_week_on_the_road.py",
        "test_workflows.py",
    }
)
# One for all processes of a run: they have to draw the same cases.
DRAW = "TUNNELBOOK_DRAW"

TORTURE, BRIEF, QUICK = "torture", "brief", "quick"
PROFILE = os.environ.get("HYPOTHESIS_PROFILE", "patient")
_FACTOR = {TORTURE: 20, BRIEF: 0.25, QUICK: 0.2}.get(PROFILE, 1)
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


def left_for_another_run(items: Iterable[pytest.Item]) -> Iterator[pytest.Item]:
    """Two thirds of each long table where the run is to be brief, drawn by the number in DRAW."""
    if PROFILE != BRIEF:
        return
    tables = defaultdict(list)
    for item in items:
        name = item.originalname if isinstance(item, pytest.Function) else ""
        if name in LONG_TABLES or item.path.name in STORIES:
            tables[name if name in LONG_TABLES else item.path.name].append(item)
    chance = random.Random(os.environ[DRAW])
    for name in sorted(tables):
        yield from chance.sample(tables[name], len(tables[name]) * 2 // 3)
