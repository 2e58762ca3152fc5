"""The settings that a branch changes, each with prediction, evidence and the points of policy."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ledger.assess.ratios import DriveRatio, drive_ratio
from ledger.assess.register import Outlook, outlook
from ledger.assess.speeds import speed_results
from ledger.check.drives import limits_of
from ledger.history.commit import Change as TreeChange
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.setpoints import Change
from ledger.proof.brought import Brought
from ledger.proof.policy import Evidence, evidence_of, policy_points
from ledger.proof.policy_people import APPROVAL_POINTS, PolicyPoint
from ledger.proof.records import (
    Reader,
    SettingStep,
    Step,
    is_setpoints,
    new_bytes,
    old_bytes,
    setting_changes,
    setting_steps,
    text_of,
)


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


def setting_work(
    changes: Iterable[TreeChange], blobs: Reader
) -> tuple[list[tuple[str, SettingStep]], list[SettingBreach]]:
    """What became of each change of a setting, with its file's path; and which files are broken."""
    steps: list[tuple[str, SettingStep]] = []
    breaches = []
    for change in changes:
        if not is_setpoints(change.path):
            continue
        old_raw, new_raw = old_bytes(change, blobs), new_bytes(change, blobs)
        old = [] if change.old_oid is None else setting_changes(change.path, old_raw)
        new = setting_changes(change.path, new_raw)
        # A file that can no longer be read holds none of what was approved in it.
        own = setting_steps(old or [], new or [])
        broken = tuple(step for step in own if step.is_breach)
        if broken or (old is None and new_raw != old_raw):
            breaches.append(
                SettingBreach(
                    path=change.path,
                    steps=broken,
                    old_text=text_of(old_raw),
                    new_text=None if new_raw is None else text_of(new_raw),
                )
            )
        steps.extend((change.path, step) for step in own)
    return steps, breaches


def setting_reviews(
    before: Ledger | None,
    ledger: Ledger,
    steps: Iterable[tuple[str, SettingStep]],
    brought: Mapping[tuple[str, int], Brought],
) -> Iterable[SettingReview]:
    """Each change that a reviewer has to weigh, in walking order."""
    results = speed_results(ledger)
    ranks = {machine: rank for rank, machine in enumerate(ledger.machines)}
    found = []
    for path, step in steps:
        drive = next((d for d in ledger.setpoints.values() if d.path == path), None)
        machine = ledger.machines.get(drive.machine) if drive else None
        weighed = step.step in (Step.PROPOSED, Step.REWORDED, Step.APPROVED, Step.EDITED)
        if drive is None or machine is None or not weighed or step.new is None:
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
                    brought=brought.get((path, step.number), Brought()),
                    results=results,
                ),
                values=step.values if step.old is not None else (),
            )
        )
    return sorted(found, key=lambda one: (ranks[one.machine.ident], one.change.number))
