"""Many faults of one kind become the first of them and a count, which loses and invents none."""

from hypothesis import given
from hypothesis import strategies as st

from ledger.files.diagnostics import (
    MOST_OF_A_KIND,
    Diagnostic,
    FirstOfEach,
    Position,
    count_of,
    in_reading_order,
    shortened,
)

faults = st.lists(
    st.builds(
        lambda path, rule, line: Diagnostic(
            rule=rule, position=Position(path=path, line=line, column=1), message="m", remedy="r"
        ),
        st.sampled_from(["a.yaml", "b.yaml"]),
        st.sampled_from(["unknown-key", "wrong-type"]),
        st.integers(1, 60),
    ),
    max_size=120,
    unique=True,
)


@given(faults)
def test_nothing_is_lost_from_the_count_and_the_first_are_whole(found):
    short = shortened(found)
    assert count_of(short) == len(found)
    assert shortened(short) == short
    for path, rule in {(one.position.path, one.rule) for one in found}:
        alike = [one for one in in_reading_order(found) if (one.position.path, one.rule) == (path, rule)]  # fmt: skip
        told = [one for one in short if (one.position.path, one.rule) == (path, rule)]
        assert told[:MOST_OF_A_KIND] == alike[:MOST_OF_A_KIND]
        assert len(told) <= MOST_OF_A_KIND + 1


@given(faults)
def test_to_count_while_they_are_found_gives_the_same(found):
    collected = FirstOfEach()
    for one in in_reading_order(found):
        if collected.has_room(one.position.path, one.rule):
            collected.add(one)
    assert in_reading_order(collected.kept()) == shortened(found)
    assert collected.count == len(found)
