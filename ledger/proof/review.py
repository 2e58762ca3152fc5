"""What merging a branch would change, from commits and never from the working copy."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime
from pathlib import PurePosixPath

from ledger.book import words
from ledger.book.words import count_faults
from ledger.compute.band import Verdict
from ledger.files.diagnostics import Diagnostic
from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.files.paths import FOLDERS
from ledger.history.commit import Change as TreeChange
from ledger.history.commit import parse_commit
from ledger.history.git import GitProblem
from ledger.history.log import History, Landing
from ledger.history.objects import BlobReader, path_text
from ledger.history.repository import Repository, resolve
from ledger.history.trial_merge import Method, TrialMerge, trial_merge
from ledger.history.verification import Verifier
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, limits_of
from ledger.model.policy import Approval
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof, Site
from ledger.model.visits import Entry, Visit
from ledger.proof.audit_items import REMEDY, Irregularity, Item, Note
from ledger.proof.judge import Judge
from ledger.proof.moves import FormatMove
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
)
from ledger.proof.setting_trail import OF_AN_APPROVAL
from ledger.proof.signatures import Signatures
from ledger.proof.sites import site_at
from ledger.upkeep.register.found import Outlook, left_agrees, outlook
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.ratios import DriveRatio, drive_ratio
from ledger.values import dataclass, field, replace


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
    approvals: Mapping[tuple[str, int], Approval],
    ruling: Site,
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
        ratio = drive_ratio(ledger, machine, results).on(change.first_day)
        evidence = evidence_of(ledger, change)
        names = (machine.ident, *machine.formerly) if before else ()
        old_machine = next(
            (before.machines[name] for name in names if before and name in before.machines), None
        )
        points = policy_points(
            ledger,
            machine,
            change,
            previous,
            evidence,
            ruling=ruling,
            limits_before=limits_of(old_machine),
            stood_before=bool((step.old or {}).get("taken_over")),
            approval=approvals.get((path, step.number)),
            results=results,
        )
        found.append(
            SettingReview(
                machine=machine,
                step=step.step,
                change=change,
                previous=previous,
                ratio=ratio,
                # What is in force now is held against the band of now.
                before=None
                if previous is None
                else outlook(old_machine or machine, ratio, previous),
                after=outlook(machine, ratio, change),
                evidence=evidence,
                points=tuple(points),
                values=step.values if step.old is not None else (),
            )
        )
    return sorted(found, key=lambda one: (ranks[one.machine.ident], one.change.number))


CORRECT_INSTEAD = "undo this, and file a new visit whose entry corrects the old one"


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
    """What merging a branch would do to the site.

    `base` is the tip that it was merged into on trial, on `landed_on`; where there are `conflicts`
    it is the commit where both part. `ledger` is that of the merge, as complete as `errors` allow.
    `items` are what the judge says of the merge, irregularities and notes. `proposals` are steps
    with proposals that leave nothing to weigh: withdrawn or taken out. `changed_checks` is what
    the branch changes of that by which it is checked itself, `moves` its moves to another format.
    `ruling` are the people and rules that it was held to, `lost_by` what an audit would find if it
    were brought by another method than a merge commit, "" for nothing. `began_as` is the name that
    the site had when its history began. With `is_turned` the base was merged into the branch, so
    that a fast-forward would leave the base's tip off the line.
    """

    base: str
    head: str
    landed_on: date
    conflicts: tuple[str, ...]
    ledger: Ledger
    items: tuple[Item, ...]
    settings: tuple[SettingReview, ...]
    proposals: tuple[tuple[str, SettingStep], ...]
    setting_breaches: tuple[SettingBreach, ...]
    records: tuple[RecordChange, ...]
    visits: tuple[Visit, ...]
    left_otherwise: tuple[LeftOtherwise, ...]
    plan: tuple[PlanChange, ...]
    errors: tuple[Diagnostic, ...]
    pages: int
    other_files: tuple[str, ...]
    changed_checks: tuple[str, ...]
    moves: tuple[FormatMove, ...]
    ruling: Site
    began_as: str
    is_turned: bool
    lost_by: Mapping[Method, str] = field(default_factory=dict)

    @property
    def rests_on_git(self) -> bool:
        """Whether anything in it is approved that the site asks git to bear out."""
        is_asked = self.ruling.policy.approval_proof is not ApprovalProof.FILE
        guarded = {Note.RULES, Note.PLAN} & {item.kind for item in self.items}
        return is_asked and bool(guarded or any(one.is_approved for one in self.settings))

    @property
    def breaches(self) -> tuple[Breach, ...]:
        """What must not be merged, the gravest first; empty where nothing is broken."""
        return tuple(_breaches(self))

    @property
    def irregularities(self) -> tuple[Item, ...]:
        """What an audit would find in it, once it is merged so."""
        return tuple(item for item in self.items if isinstance(item.kind, Irregularity))


def review(
    repository: Repository,
    base: str,
    head: str = "HEAD",
    *,
    merged_at: datetime | None = None,
    merged_by: tuple[str, str] | None = None,
    anchor: str | None = None,
) -> Review:
    """What merging `head` into the tip of `base` would change, and what an audit would say of it.

    As if it were merged at an instant, by default that of the newer of both, by somebody with
    that name and address, by default by nobody known. `anchor` is as of `audit`. Raises
    GitProblem: a revision that names no commit, histories that never met, or a merge that holds
    no usable site.
    """
    head_oid, base_oid = resolve(repository, head), resolve(repository, base)
    trusted = "" if anchor is None else resolve(repository, anchor)
    # It cannot come to the line before what it is made of.
    newest = _newest(repository, base_oid, head_oid)
    when = max(merged_at or newest, newest)
    by = merged_by or ("Nobody yet", "")
    with trial_merge(repository, base_oid, head_oid, by=by, when=when) as trial:
        found = _reviewed(trial, head_oid, when, trusted)
    if found.conflicts or found.breaches or not found.rests_on_git:
        return found
    lost = {}
    for method in (Method.SQUASH, Method.REBASE):
        with trial_merge(repository, base_oid, head_oid, when=when, method=method) as trial:
            lost[method] = _lost(trial, found.ledger.site, trusted)
    return replace(found, lost_by=lost)


def _lost(trial: TrialMerge, site: Site, anchor: str) -> str:
    """What an audit would find in what a method leaves of the branch; "" for nothing."""
    repository = trial.repository
    with BlobReader(repository) as reader, Signatures(Verifier(repository.git)) as signatures:
        judge = Judge(repository, reader, signatures, site, anchor=anchor)
        items = _judged(judge, signatures, trial)[1]
        found = [one.words for one in items if isinstance(one.kind, Irregularity)]
    return next(iter(found), "")


def _newest(repository: Repository, *commits: str) -> datetime:
    """When the last of some commits was made, leaving out what is no instant of the calendar."""
    texts = [parse_commit(repository.git.output("cat-file", "commit", oid)) for oid in commits]
    instants = [one.committer.at for one in texts if one.committer.at is not None]
    return max(instants, default=datetime.fromtimestamp(0, UTC)).astimezone(UTC)


def _reviewed(trial: TrialMerge, head: str, when: datetime, anchor: str) -> Review:
    repository, base = trial.repository, trial.base
    before, after = site_at(repository, base), site_at(repository, trial.commit)
    ledger, old = after.loaded.ledger, before.loaded.ledger
    if ledger is None:
        raise GitProblem(
            rule="no-site",
            message=f"Commit {head[:10]} holds no usable site.yaml.",
            remedy="Name the site's folder with --site, and correct site.yaml.",
        )
    with BlobReader(repository) as reader, Signatures(Verifier(repository.git)) as signatures:
        judge = Judge(repository, reader, signatures, ledger.site, anchor=anchor)
        ruling, items, landing = _judged(judge, signatures, trial)
        if old is not None and _last_days(old.site) != _last_days(ledger.site):
            # A last day that is learned of later casts doubt on what landed long ago.
            known = [
                _items_at(base, Judge(repository, reader, signatures, today, anchor=anchor))
                for today in (old.site, ledger.site)
            ]
            items.extend(item for item in known[1] if item not in known[0])
        changes = landing.commit.changes
        touched, added = touched_visits(changes, reader)
        named = {item.about for item in items if isinstance(item.kind, Irregularity)}
        records = [record_change(one, reader) for one in touched]
        steps, setting_breaches = _setting_work(changes, judge.blobs)
        approvals = {
            (path, step.number): landed.facts(signatures)
            for path, step in steps
            if step.approval and (landed := judge.settings.approval_of(path, step.approval))
        }
    new = {change.path for change in added}
    visits = tuple(visit for visit in ledger.visits if visit.path in new)
    other_files = _other_files(repository, base, trial.commit)
    documents = before.loaded.documents, after.loaded.documents
    return Review(
        base=base,
        head=head,
        landed_on=when.astimezone(ledger.site.zone).date(),
        conflicts=trial.conflicts,
        ledger=ledger,
        items=tuple(items),
        settings=tuple(_setting_reviews(old, ledger, steps, approvals, ruling)),
        proposals=tuple(
            (path, step) for path, step in steps if step.step in (Step.WITHDRAWN, Step.DROPPED)
        ),
        setting_breaches=tuple(
            one for one in setting_breaches if not one.steps or one.path in named
        ),
        records=tuple(one for one in records if one.path in named),
        visits=visits,
        left_otherwise=tuple(_left_otherwise(ledger, visits)),
        plan=() if old is None else tuple(_plan(old, ledger, *documents)),
        errors=tuple(d for d in after.loaded.diagnostics if d.is_error),
        pages=sum(change.path.startswith("book/") for change in changes),
        other_files=other_files,
        changed_checks=changed_checks(other_files, repository.prefix, *documents),
        moves=tuple(judge.moves[len(judge.moves) - _moves_in(items) :]),
        ruling=ruling,
        began_as=judge.rules.began_as,
        is_turned=_is_turned(repository, base, head),
    )


def _judged(
    judge: Judge, signatures: Signatures, trial: TrialMerge
) -> tuple[Site, list[Item], Landing]:
    """The rules that the trial merge has to satisfy, and all that the judge says of it."""
    items: list[Item] = []
    own: set[str] = set()
    with History(trial.repository, trial.commit) as history:
        for landing in history.landings():
            ruling, keys = judge.rules.ruling(landing), judge.rules.site
            found = list(judge.land(landing))
            if own or landing.former == trial.base:
                own |= {commit.oid for commit in landing.commits}
                # What waited for a statement before is reported now, and was an irregularity then.
                items += [one for one in found if one.commit is None or one.commit.oid in own]
                for commit in landing.commits:
                    if commit.changes:
                        signatures.report(commit, keys)
    items.extend(
        item
        for item in (*judge.end(), *signatures.end())
        if item.commit is not None and item.commit.oid in own
    )
    # Nobody will find the commit of a merge that was only tried.
    tried = [
        replace(item, words=item.words.replace(trial.commit[:10], "on trial")) for item in items
    ]
    return ruling, tried, landing


def _last_days(site: Site) -> dict[str, date | None]:
    return {ident: person.last_day for ident, person in site.people.items()}


def _items_at(head: str, judge: Judge) -> list[Item]:
    """All that the judge finds in the landings up to a commit."""
    with History(judge.repository, head) as history:
        items = [item for landing in history.landings() for item in judge.land(landing)]
    return [*items, *judge.end()]


def _is_turned(repository: Repository, base: str, head: str) -> bool:
    """Whether a head builds on a base, but not by its first parents."""
    git = repository.git
    if not git.answer("merge-base", "--is-ancestor", base, head):
        return False
    first = git.output("rev-list", "--first-parent", head, f"^{base}^@")
    return base not in first.decode("ascii").split()


def _moves_in(items: Iterable[Item]) -> int:
    return sum(item.kind in (Note.FORMAT, Irregularity.FORMAT) for item in items)


def _plan(old: Ledger, ledger: Ledger, *documents: Mapping[str, Document]) -> Iterator[PlanChange]:
    """What the branch does to the plan; of a wider band, how readings so far would be taken."""
    # A machine that the branch takes out, or gives another name, has no band to hold readings to.
    kept = [one for one in old.detailed if all(at.machine in ledger.machines for at in one.places)]
    verdicts = [
        {one.entry.ref: one.verdict for one in speed_results(each, kept)} for each in (old, ledger)
    ]
    for change in plan_changes(old, ledger, *documents):
        machine = PurePosixPath(change.path).stem
        taken_in = sum(
            verdicts[0].get(one.entry.ref) is Verdict.OUT_OF_BAND
            and verdicts[1].get(one.entry.ref) is Verdict.IN_BAND
            for one in speed_results(old)
            if one.machine == machine
        )
        if change.words.startswith("band at") and taken_in:
            readings = words.format_count(taken_in, "reading")
            text = f"{change.words}: {readings} out of band until now would be in it"
            change = replace(change, words=text)  # noqa: PLW2901  the same change in full
        yield change


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
    if found.conflicts:
        text = f"it cannot be merged yet: both sides changed {', '.join(found.conflicts)}"
        remedy = "merge the base into the branch, resolve the conflict there, and review it again"
        yield Breach("conflict", "the branch", text, remedy)
    for record in found.records:
        where = f" to {record.new_path}" if record.new_path not in (None, record.path) else ""
        text = f"a filed visit was {record.touch.value}{where}"
        if record.new_text is not None:
            text += f": {'; '.join(record.values) or 'layout or comments only'}"
        yield Breach(f"record-{record.touch.value}", record.path, text, CORRECT_INSTEAD)
    for touched in found.setting_breaches:
        if not touched.steps:
            text = "the file cannot be compared with what was approved in it"
            remedy = "undo this, or correct the file until tunnelbook check can read it"
            yield Breach("approved-unreadable", touched.path, text, remedy)
        for step in touched.steps:
            rule = f"approved-{'deleted' if step.step is Step.DELETED else 'edited'}"
            remedy = "undo this, and add a new change at the end of the file"
            yield Breach(rule, touched.path, step.words, remedy)
    for setting in found.settings:
        for point in setting.points:
            if point.held is False:
                rule = f"policy-{point.name.lower().replace(' ', '-')}"
                text = f"{point.name} broken: {point.because}"
                yield Breach(rule, setting.machine.name, text, point.remedy)
    reported = {one.path for one in found.records} | {one.path for one in found.setting_breaches}
    weighed = {found.ledger.setpoints[one.machine.ident].path for one in found.settings}
    for item in found.irregularities:
        is_weighed = item.kind in OF_AN_APPROVAL and item.about.partition(",")[0] in weighed
        if item.about not in reported and not is_weighed:
            rule = item.kind.name.lower().replace("_", "-")
            remedy = REMEDY[Irregularity(item.kind)].rstrip(".")
            text = f"{item.kind.value}: {item.words}"
            yield Breach(rule, item.about or "the branch", text, remedy[0].lower() + remedy[1:])
    if found.errors:
        text = f"{count_faults(found.errors, 'error')}, listed below"
        remedy = "correct them; tunnelbook check says how"
        yield Breach("files-at-fault", "files of the merge", text, remedy)
