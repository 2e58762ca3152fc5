"""`check`, `review` and `audit` judge one approval alike, where they see the same facts."""

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest
from campaign import examples
from git_repo import Repo, audited
from hypothesis import example, given, settings
from hypothesis import strategies as st
from small_site import ELECTRIC, SITE, setpoint

from ledger.files.tree import DiskTree
from ledger.proof.audit_items import Irregularity
from ledger.proof.policy_points import APPROVAL_POINTS, IN_TIME, MAY_APPROVE
from ledger.proof.review import review
from ledger.site.pipeline import load

ADA, BEN, CAI = "ada", "ben", "cai"
COMMITTED = date(2026, 2, 10)
DAYS = [date(2026, 2, day) for day in (1, 9, 10, 11, 20)]
OF_AN_APPROVAL = {
    Irregularity.SELF_APPROVED,
    Irregularity.MAY_NOT_APPROVE,
    Irregularity.GONE,
    Irregularity.NOT_PROVEN,
    Irregularity.UNAPPROVED,
    Irregularity.PROPOSED_BY_APPROVER,
}


@dataclass(frozen=True, kw_only=True)
class Case:
    """One approval, committed on `COMMITTED`, and the rules of its site; only Ben may approve."""

    proposer: str = ADA
    approver: str = BEN
    committer: str = BEN
    approved_on: date | None = None
    first_day: date = date(2026, 2, 11)
    last_day_of_ben: date | None = None
    approver_differs: bool = True
    proof: str = "commit"

    @property
    def change(self):
        more = {} if self.approved_on is None else {"approved_on": self.approved_on.isoformat()}
        people = {"proposed_by": self.proposer, "approved_by": self.approver}
        return setpoint(0, 44, **people, **more) | {"from": self.first_day.isoformat()}

    @property
    def site(self):
        people = {
            name: {"name": name.title(), "roles": ["lead"], "emails": [f"{name}@example.org"]}
            for name in (ADA, BEN, CAI)
        }
        people[BEN]["approves"] = ["setpoints"]
        if self.last_day_of_ben is not None:
            people[BEN]["until"] = self.last_day_of_ben.isoformat()
        policy = {"approver_differs": self.approver_differs, "approval_proof": self.proof}
        return {**SITE, "people": people, "policy": policy}


PEOPLE = st.sampled_from([ADA, BEN, CAI])
CASES = st.builds(
    Case,
    proposer=PEOPLE,
    approver=st.sampled_from([BEN, BEN, BEN, ADA, "nobody"]),
    committer=st.sampled_from([BEN, BEN, CAI]),
    approved_on=st.none() | st.sampled_from(DAYS),
    first_day=st.sampled_from(DAYS),
    last_day_of_ben=st.none() | st.sampled_from(DAYS),
    approver_differs=st.booleans(),
    proof=st.sampled_from(["file", "commit"]),
)


@dataclass(frozen=True, kw_only=True)
class Verdicts:
    check: bool
    review: bool
    audit: bool
    points: dict


def commit(repo, day, person, files):
    """Commit at noon of a day; the repository's clock moves on by an hour before it commits."""
    repo.clock = int(datetime(day.year, day.month, day.day, 11, tzinfo=UTC).timestamp())
    texts = {path: json.dumps(content) for path, content in files.items()}
    repo.commit("Change", texts, by=(person.title(), f"{person}@example.org"))


def verdicts(folder, case: Case) -> Verdicts:
    """What the three say of the approval on a branch, and of the line it was taken over to."""
    repo = Repo(folder)
    taken_over = setpoint(0, 46, proposed_by=ADA, approved_by=BEN)
    files = {"site.yaml": case.site, "equipment/brush.yaml": ELECTRIC}
    commit(repo, date(2026, 1, 5), BEN, files | {"setpoints/brush.yaml": [taken_over]})
    repo.git("checkout", "-q", "-b", "change")
    proposal = {key: told for key, told in case.change.items() if not key.startswith("approved_")}
    commit(repo, COMMITTED, case.proposer, {"setpoints/brush.yaml": [taken_over, proposal]})
    commit(repo, COMMITTED, case.committer, {"setpoints/brush.yaml": [taken_over, case.change]})
    (reviewed,) = review(repo.open(), "main").settings
    points = {
        point.name: point.held
        for point in reviewed.points
        if point.name in APPROVAL_POINTS | {IN_TIME}
    }
    repo.git("checkout", "-q", "main")
    repo.git("merge", "-q", "--ff-only", "change")
    ledger = load(DiskTree(folder)).ledger
    kinds = {
        item.kind for item in audited(repo.open()).items if case.first_day.isoformat() in item.about
    }
    return Verdicts(
        check=ledger.setpoints["brush"].changes[1].is_approved,
        review=not any(held is False for held in points.values()),
        audit=not kinds & OF_AN_APPROVAL,
        points=points,
    )


LEFT_BEFORE_THE_COMMIT = Case(approved_on=date(2026, 2, 1), last_day_of_ben=date(2026, 2, 9))


@settings(max_examples=examples(15))
@given(case=CASES)
@example(case=Case())
@example(case=Case(approver="nobody", proof="file"))
@example(case=LEFT_BEFORE_THE_COMMIT)
@example(case=Case(first_day=date(2026, 2, 9), proof="file"))
def test_what_a_review_lets_pass_is_in_force_and_audited_clean(tmp_path_factory, case):
    """And the other way round. Each of the two others may know less: the file, or the commits."""
    found = verdicts(tmp_path_factory.mktemp("wash") / "repo", case)
    assert found.review == (found.check and found.audit)
    in_time = case.first_day >= COMMITTED
    if case.proof == "file" and in_time and case.approved_on == COMMITTED:
        # Git then shows nothing that the file does not say.
        assert found.check == found.review == found.audit


@pytest.mark.parametrize("proof", ["file", "commit"])
def test_an_approver_who_had_left_when_committing(tmp_path, proof):
    case = Case(approved_on=date(2026, 2, 1), last_day_of_ben=date(2026, 2, 9), proof=proof)
    found = verdicts(tmp_path / "repo", case)
    assert (found.check, found.review, found.audit) == (True, False, False)
    assert found.points[MAY_APPROVE] is False


def test_a_first_approval_is_taken_over_though_a_proposal_stands_before_it(tmp_path):
    """Nothing of the drive had been approved, so what it ran at before is nobody's approval."""
    repo = Repo(tmp_path / "repo")
    case = Case(first_day=date(2026, 2, 1))
    proposal = {**setpoint(0, 46, proposed_by=ADA)}
    del proposal["approved_by"]
    files = {"site.yaml": case.site, "equipment/brush.yaml": ELECTRIC}
    commit(repo, date(2026, 1, 5), BEN, files | {"setpoints/brush.yaml": [proposal]})
    repo.git("checkout", "-q", "-b", "change")
    own = {key: told for key, told in case.change.items() if key != "approved_by"}
    commit(repo, COMMITTED, ADA, {"setpoints/brush.yaml": [proposal, own]})
    commit(repo, COMMITTED, BEN, {"setpoints/brush.yaml": [proposal, case.change]})
    (reviewed,) = review(repo.open(), "main").settings
    assert IN_TIME not in {point.name for point in reviewed.points}
    assert not {item.kind for item in audited(repo.open()).items} & OF_AN_APPROVAL
