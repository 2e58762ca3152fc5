"""What a branch would change, computed from two commits and never from the working copy."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ledger.book.words import count_faults
from ledger.files.diagnostics import Diagnostic
from ledger.files.names import SITE_FILE
from ledger.files.paths import FOLDERS
from ledger.history.commit import Change as TreeChange
from ledger.history.git import GitProblem
from ledger.history.log import walk
from ledger.history.objects import BlobReader, path_text
from ledger.history.repository import OBJECT_ID, Repository, resolve
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, limits_of
from ledger.model.setpoints import Change
from ledger.model.visits import Entry, Visit
from ledger.proof.branch_commits import (
    BranchApproval,
    TouchedByCommit,
    approval_commits,
    touched_by_commits,
)
from ledger.proof.moves import FormatMove, MovedBlobs, format_move
from ledger.proof.plan import PlanChange, changed_checks, plan_changes
from ledger.proof.policy_points import (
    APPROVAL_POINTS,
    Evidence,
    PolicyPoint,
    evidence_of,
    policy_points,
)
from ledger.proof.records import (
    Reader,
    RecordChange,
    SettingStep,
    Step,
    is_setpoints,
    new_bytes,
    old_bytes,
    record_change,
    setting_changes,
    setting_steps,
    text_of,
    touched_visits,
    tree_changes,
)
from ledger.proof.sites import site_at
from ledger.upkeep.register.found import Outlook, left_agrees, outlook
from ledger.upkeep.speeds.found import DriveRatio, drive_ratio, speed_results


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingReview:
    """One change of a drive's setting that the branch brings, with all that a reviewer weighs.

    `previous` is the approved change it follows. `ratio` is what all readings at the head tell;
    `before` and `after` are what it says to expect of either. `values` are what differs where a
    proposal was edited.
    """

    machine: Machine
    step: Step
    change: Change
    previous: Change | None
    ratio: DriveRatio
    before: Outlook | None
    after: Outlook
    evidence: tuple[Evidence, ...]
    points: tuple[PolicyPoint, ...]
    values: tuple[str, ...]

    @property
    def is_approved(self) -> bool:
        """Whether it names an approver, and every rule on who may approve and how is held."""
        return bool(self.change.approved_by) and not self.is_only_claimed

    @property
    def is_only_claimed(self) -> bool:
        """Whether it names an approver, but a rule on who may approve and how is broken."""
        return bool(self.change.approved_by) and any(
            point.held is False and point.name in APPROVAL_POINTS for point in self.points
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingBreach:
    """A drive's file in which approved changes were touched, with both texts of the file.

    `steps` is empty where a file cannot be read as changes of a setting.
    """

    path: str
    steps: tuple[SettingStep, ...]
    old_text: str
    new_text: str | None


def _setting_work(
    changes: Iterable[TreeChange], blobs: Reader
) -> tuple[list[tuple[str, SettingStep]], list[SettingBreach]]:
    """What became of each change of a setting, with its file's path; and which files are broken."""
    steps: list[tuple[str, SettingStep]] = []
    breaches = []
    for change in changes:
        if not is_setpoints(change.path):
            continue
        old_raw, new_raw = old_bytes(change, blobs), new_bytes(change, blobs)
        old, new = (setting_changes(change.path, raw) for raw in (old_raw, new_raw))
        # A file that can no longer be read holds none of what was approved in it.
        own = setting_steps(old or [], new or [])
        broken = tuple(step for step in own if step.is_breach)
        if broken or (old is None and new_raw != old_raw):
            breaches.append(
                SettingBreach(
                    path=change.path,
                    steps=broken,
                    old_text=text_of(old_raw or b""),
                    new_text=None if new_raw is None else text_of(new_raw),
                )
            )
        steps.extend((change.path, step) for step in own)
    return steps, breaches


def _setting_reviews(
    before: Ledger | None,
    ledger: Ledger,
    steps: Iterable[tuple[str, SettingStep]],
    approvals: Mapping[tuple[str, int], BranchApproval],
) -> Iterable[SettingReview]:
    """Each change that a reviewer has to weigh, in walking order."""
    results = speed_results(ledger)
    ranks = {machine: rank for rank, machine in enumerate(ledger.machines)}
    found = []
    for path, step in steps:
        drive = next((d for d in ledger.setpoints.values() if d.path == path), None)
        machine = ledger.machines.get(drive.machine) if drive else None
        weighed = step.approval or step.step in (Step.PROPOSED, Step.REWORDED)
        if drive is None or machine is None or not weighed:
            continue
        change = drive.changes[step.number - 1]
        earlier = [c for c in drive.changes[: step.number - 1] if c.is_approved]
        previous = earlier[-1] if earlier else None
        ratio = drive_ratio(ledger, machine, results)
        evidence = evidence_of(ledger, change)
        old_machine = before.machines.get(machine.ident) if before else None
        found.append(
            SettingReview(
                machine=machine,
                step=step.step,
                change=change,
                previous=previous,
                ratio=ratio,
                before=None if previous is None else outlook(machine, ratio, previous),
                after=outlook(machine, ratio, change),
                evidence=evidence,
                points=policy_points(
                    ledger,
                    machine,
                    change,
                    previous,
                    evidence,
                    ruling=(before or ledger).site,
                    limits_before=limits_of(old_machine),
                    found=approvals.get((path, step.number), BranchApproval()),
                    results=results,
                ),
                values=step.values if step.old is not None else (),
            )
        )
    return sorted(found, key=lambda one: (ranks[one.machine.ident], one.change.number))


CORRECT_INSTEAD = "take this back, and file a new visit whose entry corrects the old one"

BRANCH_ANEW = (
    "make the branch anew without that commit, as nothing of it is merged yet; what was wrong is "
    "put right by an entry that corrects it, or by a new change of the setting"
)


@dataclass(frozen=True, slots=True)
class Breach:
    """One thing that must not be merged: a stable rule id, where, what, and what to do."""

    rule: str
    about: str
    words: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOtherwise:
    """A visit of the branch that left a drive at another value than the approved one."""

    entry: Entry
    machine: Machine
    left: float
    approved: Change


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A branch's whole effect on the site.

    `base` is the merge base of what was asked for, `base_moved` whether that base has commits the
    head does not build on. `ledger` is the head's, as complete as `errors` allow. `proposals`
    are steps with proposals that leave nothing to weigh: withdrawn or taken out.
    `touched_by_commits` are touches of records by single commits, which the other parts do not
    show. `changed_checks` is what the branch changes of that by which it is checked itself,
    `moves` its moves to another format.
    """

    base: str
    head: str
    base_moved: bool
    ledger: Ledger
    settings: tuple[SettingReview, ...]
    proposals: tuple[tuple[str, SettingStep], ...]
    setting_breaches: tuple[SettingBreach, ...]
    records: tuple[RecordChange, ...]
    touched_by_commits: tuple[TouchedByCommit, ...]
    visits: tuple[Visit, ...]
    left_otherwise: tuple[LeftOtherwise, ...]
    plan: tuple[PlanChange, ...]
    errors: tuple[Diagnostic, ...]
    pages: int
    other_files: tuple[str, ...]
    changed_checks: tuple[str, ...]
    moves: tuple[FormatMove, ...]

    @property
    def breaches(self) -> tuple[Breach, ...]:
        """What must not be merged, the gravest first; empty where nothing is broken."""
        return tuple(_breaches(self))


def review(repository: Repository, base: str, head: str = "HEAD") -> Review:
    """What merging `head` into `base` would change, from their merge base on.

    Raises GitProblem: a revision that names no commit, histories that never met, or a head that
    holds no usable site.
    """
    head_oid, asked = resolve(repository, head), resolve(repository, base)
    base_oid = _merge_base(repository, asked, head_oid, base, head)
    before, after = site_at(repository, base_oid), site_at(repository, head_oid)
    ledger = after.loaded.ledger
    if ledger is None:
        raise GitProblem(
            rule="no-site",
            message=f"Commit {head_oid[:10]} holds no usable site.yaml.",
            remedy="Name the site's folder with --site, and correct site.yaml.",
        )
    changes = tree_changes(before.oids, after.oids)
    with BlobReader(repository) as blobs:
        touched, added = touched_visits(changes, blobs)
        records = tuple(record_change(one, blobs) for one in touched)
        commits = tuple(walk(repository, since=base_oid, head=head_oid))
        moves = [
            move for one in commits if (move := format_move(repository, one, blobs)) is not None
        ]
        texts = MovedBlobs(blobs, moves)
        steps, setting_breaches = _setting_work(changes, texts)
        ruling = (before.loaded.ledger or ledger).site
        approvals = approval_commits(repository, head_oid, commits, steps, texts, ruling=ruling)
        shown = {record.path for record in records} | {one.path for one in setting_breaches}
        shown |= {record.new_path for record in records if record.new_path is not None}
        by_commits = tuple(
            one for one in touched_by_commits(commits, texts) if one.path not in shown
        )
    new = {change.path for change in added}
    visits = tuple(visit for visit in ledger.visits if visit.path in new)
    old = before.loaded.ledger
    other_files = _other_files(repository, base_oid, head_oid)
    return Review(
        base=base_oid,
        head=head_oid,
        base_moved=base_oid != asked,
        ledger=ledger,
        settings=tuple(_setting_reviews(old, ledger, steps, approvals)),
        proposals=tuple(
            (path, step) for path, step in steps if step.step in (Step.WITHDRAWN, Step.DROPPED)
        ),
        setting_breaches=tuple(setting_breaches),
        records=records,
        touched_by_commits=by_commits,
        visits=visits,
        left_otherwise=tuple(_left_otherwise(ledger, visits)),
        plan=()
        if old is None
        else plan_changes(old, ledger, before.loaded.documents, after.loaded.documents),
        errors=tuple(d for d in after.loaded.diagnostics if d.is_error),
        pages=sum(change.path.startswith("book/") for change in changes),
        other_files=other_files,
        changed_checks=changed_checks(
            other_files, repository.prefix, before.loaded.documents, after.loaded.documents
        ),
        moves=tuple(moves),
    )


def _merge_base(repository: Repository, base: str, head: str, *named: str) -> str:
    found = repository.git.attempt("merge-base", base, head)
    oid = (found or b"").decode("ascii", "replace").strip()
    if OBJECT_ID.fullmatch(oid) is None:
        raise GitProblem(
            rule="no-merge-base",
            message=f"{' and '.join(repr(one) for one in named)} have no commit in common here.",
            remedy="A shallow clone may end before it: git fetch --unshallow.",
        )
    return oid


def _other_files(repository: Repository, base: str, head: str) -> tuple[str, ...]:
    """Files that no other part of the review names, from the repository's top; hidden ones too."""
    printed = repository.git.output(
        "diff-tree", "-r", "-z", "--name-only", "--no-renames", "--no-ext-diff", base, head
    )
    prefix = repository.prefix
    named = tuple(f"{prefix}{folder}" for folder in (*FOLDERS, "book/", SITE_FILE))
    paths = (path_text(name) for name in printed.split(b"\0")[:-1])
    return tuple(sorted(path for path in paths if not path.startswith(named)))


def _left_otherwise(ledger: Ledger, visits: Iterable[Visit]) -> Iterable[LeftOtherwise]:
    for visit in visits:
        for entry in visit.entries:
            machine = ledger.machines.get(entry.place.machine) if entry.place else None
            drive = ledger.setpoints.get(machine.ident) if machine else None
            if machine is None or drive is None or entry.setting is None:
                continue
            left = entry.setting.left
            if left is None:
                continue
            approved, agrees = left_agrees(machine, drive, entry, left)
            if approved is not None and agrees is False:
                yield LeftOtherwise(entry=entry, machine=machine, left=left, approved=approved)


def _breaches(found: Review) -> Iterator[Breach]:
    for record in found.records:
        where = f" to {record.new_path}" if record.new_path not in (None, record.path) else ""
        text = f"a filed visit was {record.touch.value}{where}"
        if record.new_text is not None:
            text += f": {'; '.join(record.values) or 'layout or comments only'}"
        yield Breach(f"record-{record.touch.value}", record.path, text, CORRECT_INSTEAD)
    for touched in found.setting_breaches:
        if not touched.steps:
            text = "the file cannot be held against what was approved in it"
            remedy = "take this back, or correct the file until tunnelbook check reads it"
            yield Breach("approved-unreadable", touched.path, text, remedy)
        for step in touched.steps:
            rule = f"approved-{'deleted' if step.step is Step.DELETED else 'edited'}"
            remedy = "take this back, and add a new change at the end of the file"
            yield Breach(rule, touched.path, step.words, remedy)
    for one in found.touched_by_commits:
        if not one.is_own:
            text = f"touched by commit {one.commit[:10]} of {one.author} on the way: {one.words}"
            yield Breach("record-touched-on-the-way", one.path, text, BRANCH_ANEW)
    for setting in found.settings:
        for point in setting.points:
            if point.held is False:
                rule = f"policy-{point.name.lower().replace(' ', '-')}"
                text = f"{point.name} broken: {point.because}"
                yield Breach(rule, setting.machine.name, text, point.remedy)
    for move in found.moves:
        if move.differing:
            about, text = f"commit {move.commit[:10]}", f"moves the site {move.words}"
            remedy = "make the branch anew by tunnelbook migrate, with the rest in other commits"
            yield Breach("format-moved-otherwise", about, text, remedy)
    if found.errors:
        text = f"{count_faults(found.errors, 'error')}, listed below"
        remedy = "correct them; tunnelbook check says how"
        yield Breach("files-at-fault", "files of the head", text, remedy)
