"""Every remedy that an audit prints clears what it is printed for, or leads to where it is closed."""

from datetime import UTC, datetime

import pytest
from git_repo import DAG, MIRA, audited
from small_wash import EVA, PROPOSAL, visit_text
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with, signed_bytes

from ledger.filing.migrations import MIGRATIONS, Migration
from ledger.proof.audit import Verdict
from ledger.proof.audit_items import REMEDY, Irregularity
from ledger.proof.audit_page import audit_page, audit_rows
from ledger.proof.dispositions import NAMESPACE, record_text
from ledger.proof.review_page import markdown_alone

SETTING, SITE = "setpoints/brush.yaml", "site.yaml"
MONDAY = "observations/2026/01/2026-01-06T0700-mira.yaml"
OLA = ("Ola Berg", "ola@example.org")
AUDIT = "audits/2026-02-01-ola.yaml"


def later(day, hz=44, by="mira", approver="dag"):
    return PROPOSAL.replace("01-09", day).replace("hz: 46", f"hz: {hz}").replace(
        "proposed_by: mira", f"proposed_by: {by}"
    ) + f"  approved_by: {approver}\n"  # fmt: skip


def edit(wash, path, old, new, by=MIRA):
    text = wash.text(path)
    assert old in text
    wash.commit({path: text.replace(old, new)}, by=by)


def approve(wash, text, by=DAG, **how):
    wash.agree({SETTING: wash.text(SETTING) + text}, by=by, **how)


def merged_by_hand(wash, *, drop="", put=""):
    """A merge that leaves out a visit of its branch, or puts one in."""
    wash.branch("side", "main")
    wash.file("2026-01-12T0700-eva", by=EVA)
    wash.switch("main")
    wash.at("2026-01-12T19:00")
    wash.repo.git("merge", "-q", "--no-ff", "--no-commit", "side", **wash.repo.people(DAG, None))
    path = f"observations/2026/01/{drop or put}.yaml"
    if drop:
        (wash.repo.folder / path).unlink()
    else:
        wash.repo.write(path, visit_text(put, "{task: grease, at: brush}"))
    wash.repo.git("add", "-A")
    wash.repo.git("commit", "-q", "-m", "Merge", **wash.repo.people(DAG, None))


def renamed(wash):
    new = MONDAY.replace("06T", "05T")
    text = wash.text(MONDAY).replace("2026-01-06", "2026-01-05")
    wash.commit({MONDAY: None, new: text}, by=EVA)


def forged(wash):
    wash.repo.git("config", "gpg.format", "ssh")
    key = make_key(wash.repo.folder.parent / "keys", "k")
    sign_with(wash.repo, key)
    wash.file("2026-01-12T0700-mira")
    sign_with(wash.repo, None)
    raw = wash.repo.git("cat-file", "commit", "HEAD") + "\n"
    made = wash.repo.raw("commit", raw.replace("\n\nChange\n", "\n\nChanged\n").encode())
    wash.repo.git("update-ref", "refs/heads/main", made)


def left(wash):
    edit(wash, SITE, "mira: {", "mira: {until: 2026-01-10, ", by=DAG)
    wash.file("2026-01-12T0700-mira")


def plan_alone(wash):
    edit(wash, SITE, "max_step_hz: 4", "max_step_hz: 4, plan_needs_approval: true", by=DAG)
    edit(wash, "tasks/grease.yaml", "1 week", "2 weeks")


def audit_touched(wash):
    text = record_text(by="dag", at=datetime(2026, 1, 20, tzinfo=UTC), accepts={}, head="a" * 40, verdict="clean", tool="")  # fmt: skip
    wash.commit({"audits/first.yaml": text}, by=DAG)
    wash.commit({"audits/first.yaml": text.replace("clean", "partial")}, by=MIRA)


def rewritten(wash):
    text = record_text(by="dag", at=datetime(2026, 1, 20, tzinfo=UTC), accepts={}, head="b" * 40, verdict="clean", tool="")  # fmt: skip
    wash.commit({"audits/first.yaml": text}, by=DAG)


def moved_otherwise(wash):
    """Out of a format before this one, and with it something that no step does."""
    edit(wash, SITE, "format: 1", "format: 0")
    text = wash.text(SITE).replace("format: 0", "format: 1")
    task = wash.text("tasks/grease.yaml").replace("1 week", "2 weeks")
    wash.commit({SITE: text, "tasks/grease.yaml": task})


@pytest.fixture(autouse=True)
def format_before_this_one(monkeypatch):
    monkeypatch.setitem(MIGRATIONS, 0, Migration(words="nothing", change=lambda _path, text: text))


K = Irregularity
MADE = {
    K.DELETED: lambda w: w.commit({MONDAY: None}),
    K.EDITED: lambda w: edit(w, MONDAY, "80", "84", by=EVA),
    K.RENAMED: renamed,
    K.APPROVED_DELETED: lambda w: w.commit({SETTING: None}, by=DAG),
    K.APPROVED_EDITED: lambda w: edit(w, SETTING, "hz: 48", "hz: 49"),
    K.MERGE_WROTE: lambda w: merged_by_hand(w, put="2026-01-12T0800-dag"),
    K.MERGE_DROPPED: lambda w: merged_by_hand(w, drop="2026-01-12T0700-eva"),
    K.SIGNATURE: forged,
    K.RULES: lambda w: edit(w, SITE, "max_step_hz: 4", "max_step_hz: 9"),
    K.SELF_APPROVED: lambda w: w.commit({SETTING: w.text(SETTING) + later("02-20", by="dag")}, by=DAG),
    K.PROPOSED_BY_APPROVER: lambda w: w.commit({SETTING: w.text(SETTING) + later("02-20")}, by=DAG),
    K.TAKEN_OVER: lambda w: edit(w, SETTING, "- from: 2026-01-05", "- taken_over: true\n  from: 2026-01-05"),
    K.NOT_PROVEN: lambda w: approve(w, later("02-20"), by=MIRA),
    K.MAY_NOT_APPROVE: lambda w: approve(w, later("02-20", approver="eva"), by=EVA),
    K.PLAN_ALONE: plan_alone,
    K.UNAPPROVED: lambda w: approve(w, later("01-12")),
    K.GONE: left,
    K.OTHER_AUTHOR: lambda w: w.file("2026-01-12T0700-mira", by=EVA),
    K.LATE: lambda w: w.file("2026-01-12T0700-mira", at="2026-01-22T08:00"),
    K.AHEAD: lambda w: w.file("2026-01-22T0700-mira", at="2026-01-21T08:00"),
    K.CLOCK: lambda w: (w.file("2026-01-12T0700-mira"), w.at("2026-01-08T08:00").commit({"a.txt": "1"})),
    K.AUDIT_TOUCHED: audit_touched,
    K.REWRITTEN: rewritten,
    K.FORMAT: moved_otherwise,
    K.PAGE: lambda w: w.commit({"book/README.md": "# A book\n"}),
}  # fmt: skip


def accept(wash, items, *, by=OLA, who="ola", at="2026-02-01T09:00", path=AUDIT, **more):
    accepts = {item.ident: "Seen, and both were asked." for item in items}
    when = datetime.fromisoformat(at).replace(tzinfo=UTC)
    text = record_text(by=who, at=when, accepts=accepts, head="", verdict="", tool="")
    wash.at(at).commit({path: text, **{f"{path}{end}": put for end, put in more.items()}}, by=by)


@pytest.fixture
def audited_wash(wash):
    """With an auditor who does nothing else, and whom two people let in."""
    ola = "  ola: {name: Ola Berg, roles: [auditor], emails: [ola@example.org]}\npolicy:"
    wash.at("2026-01-07T09:00").settle({SITE: wash.text(SITE).replace("policy:", ola)})
    assert audited(wash.open()).verdict is Verdict.CLEAN
    return wash.at("2026-01-13T09:00")


def test_no_kind_is_left_out():
    assert set(Irregularity) == MADE.keys() == REMEDY.keys()


@needs_ssh_keygen
@pytest.mark.parametrize("kind", MADE, ids=lambda kind: kind.name)
def test_what_was_looked_into_is_closed_and_stays_to_be_read(audited_wash, kind):
    wash = audited_wash
    MADE[kind](wash)
    before = audited(wash.open())
    assert kind in {item.kind for item in before.open}
    assert before.verdict is Verdict.FINDINGS
    accept(wash, before.open)
    found = audited(wash.open())
    assert found.open == ()
    # All that was found stays, and a closed visit is no clean one.
    assert {item.ident for item in before.irregularities} == {i.ident for i in found.irregularities}
    assert found.verdict is Verdict.CLEAN
    said = markdown_alone(audit_page(found))
    assert "**Nothing open: everything found was looked into and accepted: " in said
    assert "(accepted by Ola Berg on 2026-02-01: Seen, and both were asked.)" in said
    assert audit_rows(found)["counts"]["open"] == 0


@pytest.fixture
def edited(audited_wash):
    edit(audited_wash, MONDAY, "80", "84", by=DAG)
    return audited_wash


def kinds(found):
    return {item.kind.name for item in found.items}


@pytest.mark.parametrize(
    ("who", "by"),
    [("dag", DAG), ("mira", MIRA), ("nobody", OLA), ("ola", MIRA)],
    ids=["who made it", "who neither approves nor audits", "a stranger", "in another's name"],
)
def test_who_cannot_close_it(edited, who, by):
    accept(edited, audited(edited.open()).open, who=who, by=by)
    found = audited(edited.open())
    assert [item.kind for item in found.open] == [Irregularity.EDITED]
    assert ("AUDIT_REFUSED" in kinds(found)) is (who != "dag")


def test_who_committed_it_in_anothers_name_cannot_close_it(audited_wash):
    text = audited_wash.text(MONDAY).replace("80", "84")
    audited_wash.commit({MONDAY: text}, by=EVA, committer=DAG)
    accept(audited_wash, audited(audited_wash.open()).open, who="dag", by=DAG)
    assert [item.kind for item in audited(audited_wash.open()).open] == [Irregularity.EDITED]


@pytest.mark.parametrize(
    "work",
    [
        lambda w, by: w.commit({SETTING: w.text(SETTING) + later("02-20", by="dag")}, by=by),
        lambda w, by: w.file("2026-01-12T0700-dag", at="2026-01-22T08:00", by=by),
    ],
    ids=["approved by oneself", "filed late by oneself"],
)
def test_who_did_it_from_an_address_of_nobody_cannot_close_it(audited_wash, work):
    work(audited_wash, ("Dag", "dag@home.example"))
    before = audited(audited_wash.open()).open
    accept(audited_wash, before, who="dag", by=DAG)
    assert audited(audited_wash.open()).open
    accept(audited_wash, before, path="audits/ola.yaml")
    assert audited(audited_wash.open()).open == ()


def test_an_auditor_made_by_themselves_closes_nothing(wash):
    edit(wash, MONDAY, "80", "84", by=DAG)
    edit(wash, SITE, "roles: [technician], emails: [mira", "roles: [auditor], emails: [mira")
    accept(wash, audited(wash.open()).open, who="mira", by=MIRA)
    assert {item.kind.name for item in audited(wash.open()).open} == {"EDITED", "RULES"}


@needs_ssh_keygen
@pytest.mark.parametrize("key", ["ola", "other"])
def test_where_a_signature_is_asked_the_file_carries_it(edited, tmp_path, key):
    keys = {name: make_key(tmp_path / "keys", name) for name in ("ola", "other")}
    text = edited.text(SITE).replace("proof: commit", "proof: statement")
    line = public_line(keys["ola"])
    text = text.replace("[ola@example.org]", f"[ola@example.org], signing_keys: ['{line}']")
    edited.commit({SITE: text}, by=OLA)
    items = audited(edited.open()).open
    when = datetime(2026, 2, 1, 9, tzinfo=UTC)
    payload = record_text(by="ola", at=when, accepts={i.ident: "Seen, and both were asked." for i in items}, head="", verdict="", tool="")  # fmt: skip
    armour = signed_bytes(payload.encode(), keys[key], NAMESPACE).decode()
    accept(edited, items, by=MIRA, **{".sig": armour})
    assert (audited(edited.open()).open == ()) is (key == "ola")


def test_a_rewriting_cannot_be_accepted_before_it_is_found(audited_wash):
    """What one remembered head told of is closed; the next rewriting is told of anew."""
    wash = audited_wash
    for number, day in enumerate(("14", "15")):
        wash.file(f"2026-01-{day}T0700-mira")
        head = wash.repo.head()
        wash.repo.git("reset", "-q", "--hard", "HEAD~1")
        wash.file(f"2026-01-{day}T0700-mira", "{task: grease, at: brush, strokes: 19}")
        found = audited(wash.open(), remembered=head)
        assert [item.kind for item in found.open] == [K.REWRITTEN, K.REWRITTEN]
        path = f"audits/{number}.yaml"
        accept(wash, found.open, at=f"2026-01-{day}T19:00", path=path)
        assert audited(wash.open(), remembered=head).open == ()


def test_an_address_that_was_missing_clears_it(audited_wash):
    wash = audited_wash
    wash.file("2026-01-12T0700-mira", by=("Mira", "mira@home.example"))
    assert [item.kind for item in audited(wash.open()).open] == [Irregularity.OTHER_AUTHOR]
    edit(wash, SITE, "[mira@example.org]", "[mira@example.org, mira@home.example]")
    assert audited(wash.open()).irregularities == ()


def test_a_person_who_was_missing_clears_it(audited_wash):
    wash = audited_wash
    wash.file("2026-01-12T0700-kim", by=("Kim", "kim@example.org"))
    assert [item.kind for item in audited(wash.open()).open] == [K.OTHER_AUTHOR]
    edit(wash, SITE, "policy:", "  kim: {name: Kim Moe, roles: [technician], emails: [kim@example.org]}\npolicy:")  # fmt: skip
    assert audited(wash.open()).verdict is Verdict.CLEAN


def test_an_address_that_somebody_else_adds_clears_nothing(audited_wash):
    wash = audited_wash
    wash.file("2026-01-12T0700-mira", by=EVA)
    edit(wash, SITE, "[mira@example.org]", "[mira@example.org, eva@example.org]", by=EVA)
    assert {item.kind.name for item in audited(wash.open()).open} == {"OTHER_AUTHOR", "RULES"}


def test_the_last_recorded_audit_is_told(audited_wash):
    wash = audited_wash
    when = datetime(2026, 2, 1, 9, tzinfo=UTC)
    text = record_text(by="ola", at=when, accepts={}, head=wash.repo.head(), verdict="clean", tool="tunnelbook 1, git version 2")  # fmt: skip
    wash.at("2026-02-01T09:00").commit({AUDIT: text}, by=OLA)
    found = audited(wash.open())
    assert found.recorded.tool == "tunnelbook 1, git version 2"
    said = markdown_alone(audit_page(found))
    assert "Last recorded: clean by Ola Berg on 2026-02-01, head `" in said
    assert "Rules in force at the head: proof of approval commit; a second person needed" in said
