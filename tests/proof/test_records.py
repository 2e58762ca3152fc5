"""What counts as touching a filed record, on texts and fields alone."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.history.commit import Change
from ledger.proof.records import (
    Step,
    Touch,
    differing,
    record_change,
    setting_steps,
    touched_visits,
)


def setting(hz, **rest):
    return {"from": "2026-01-05", "hz": hz, "why": "Read.", "proposed_by": "mira", **rest}


OPEN, APPROVED = setting(44), setting(44, approved_by="dag")

STEPS = {
    "nothing": ([APPROVED], [APPROVED], []),
    "proposed": ([APPROVED], [APPROVED, OPEN], [Step.PROPOSED]),
    "approved": ([OPEN], [APPROVED], [Step.APPROVED]),
    "approved and changed at once": ([OPEN], [setting(45, approved_by="dag")], [Step.APPROVED]),
    "proposed and approved at once": ([], [APPROVED], [Step.APPROVED]),
    "proposal edited": ([OPEN], [setting(45)], [Step.REWORDED]),
    "proposal withdrawn": ([OPEN], [setting(44, withdrawn="In band.")], [Step.WITHDRAWN]),
    "proposal taken out": ([APPROVED, OPEN], [APPROVED], [Step.DROPPED]),
    "value of an approved change": ([APPROVED], [setting(45, approved_by="dag")], [Step.EDITED]),
    "approver changed": ([APPROVED], [setting(44, approved_by="eva")], [Step.EDITED]),
    "approval taken back": ([APPROVED], [OPEN], [Step.EDITED]),
    "approved change deleted": ([setting(43, approved_by="dag"), APPROVED], [APPROVED], [Step.DELETED]),
    "order changed": ([setting(43, approved_by="dag"), APPROVED], [APPROVED, setting(43, approved_by="dag")], [Step.DELETED, Step.APPROVED]),
    "all gone": ([APPROVED], [], [Step.DELETED]),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "steps"), STEPS.values(), ids=STEPS)
def test_what_became_of_each_change(old, new, steps):
    assert sorted(step.step for step in setting_steps(old, new)) == sorted(steps)


ITEMS = st.builds(
    lambda hz, approver: setting(hz, **({"approved_by": approver} if approver else {})),
    st.integers(30, 60),
    st.sampled_from(["", "dag", "eva"]),
)
FILES = st.lists(ITEMS, max_size=6)


@given(FILES, FILES)
def test_new_changes_at_the_end_are_never_a_breach(old, more):
    steps = setting_steps(old, [*old, *more])
    assert not any(step.is_breach for step in steps)
    assert len(steps) == len(more)


@given(FILES, st.data())
def test_any_edit_of_an_approved_change_is_a_breach(old, data):
    approved = [index for index, item in enumerate(old) if "approved_by" in item]
    if not approved:
        return
    index = data.draw(st.sampled_from(approved))
    new = copy.deepcopy(old)
    new[index]["hz"] = 99
    assert any(step.is_breach for step in setting_steps(old, new))


@given(FILES, st.data())
def test_any_deletion_of_an_approved_change_is_a_breach(old, data):
    approved = [index for index, item in enumerate(old) if "approved_by" in item]
    if not approved:
        return
    index = data.draw(st.sampled_from(approved))
    assert any(step.is_breach for step in setting_steps(old, old[:index] + old[index + 1 :]))


PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=10,
)  # fmt: skip


@given(PLAIN)
def test_a_value_does_not_differ_from_itself(value):
    assert differing(value, copy.deepcopy(value)) == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ({"a": 1}, {"a": 2}, ("a: 1 → 2",)),
        ({"a": {"b": "x"}}, {"a": {}}, ("a.b: x → nothing",)),
        ({"a": [1, 2]}, {"a": [1, 3]}, ("a 2: 2 → 3",)),
        ({}, {"a": [True]}, ("a: nothing → [true]",)),
        ({"a": 1}, {"a": True}, ("a: 1 → true",)),
        ({"a": "1"}, {"a": 1}, ("a: 1 → 1",)),
    ],
    ids=["value", "gone", "item", "new", "one is not true", "text is not a number"],
)
def test_differing_values_are_named_by_their_place(old, new, said):
    assert differing(old, new) == said


class Blobs(dict):
    def read(self, oid):
        return self[oid]


def change(path, old=None, new=None):
    return Change(path=path, old_oid=old, new_oid=new, old_mode=None, new_mode=None)


HOME = "observations/2026/01/"
LINES = b"at: 2026-01-06T07:00\nby: mira\nentries:\n  - {task: a}\n  - {task: b}\n  - {task: c}\n"


def test_a_visit_moved_and_redated_is_one_renamed_not_one_deleted_and_one_new():
    blobs = Blobs(one=LINES, two=LINES.replace(b"06T", b"05T"), other=b"at: 2026-01-08T07:00\n")
    touched, added = touched_visits(
        [
            change(f"{HOME}2026-01-06T0700-mira.yaml", old="one"),
            change(f"{HOME}2026-01-05T0700-mira.yaml", new="two"),
            change(f"{HOME}2026-01-08T0700-mira.yaml", new="other"),
        ],
        blobs,
    )
    record = record_change(touched[0], blobs)
    assert (record.touch, record.values) == (Touch.RENAMED, ("at: 2026-01-06T07:00 → 2026-01-05T07:00",))  # fmt: skip
    assert [one.path for one in added] == [f"{HOME}2026-01-08T0700-mira.yaml"]


def test_a_visit_deleted_beside_an_unlike_new_one():
    blobs = Blobs(one=LINES, other=b"at: 2026-01-08T07:00\nby: eva\n")
    touched, added = touched_visits(
        [change(f"{HOME}a.yaml", old="one"), change(f"{HOME}b.yaml", new="other")], blobs
    )
    assert record_change(touched[0], blobs).touch is Touch.DELETED
    assert len(added) == 1


def test_bytes_that_are_no_text_are_shown_all_the_same():
    blobs = Blobs(one=LINES, two=b"\xff\xfe")
    path = f"{HOME}2026-01-06T0700-mira.yaml"
    touched, _ = touched_visits([change(path, old="one", new="two")], blobs)
    record = record_change(touched[0], blobs)
    assert record.new_text == r"\xff\xfe"
    assert record.values == ("the file cannot be read as a visit",)
