"""`tunnelbook propose`: a new setting of a drive, for a second person to look at."""

import argparse
import shlex
import sys
from datetime import date, timedelta
from typing import TYPE_CHECKING

from ledger.cli.command import (
    Failure,
    OpenSite,
    add_as_of,
    add_site_option,
    fault_text,
    known,
    open_site,
)

if TYPE_CHECKING:
    from ledger.model.machines import Machine
    from ledger.upkeep.tuning.proposal import Proposal
    from ledger.upkeep.tuning.proposal_file import ProposalFile


DESCRIPTION = (
    "Write a proposed setting into the drive's file, comments and layout kept, and say what the "
    "evidence supports. It is in force only once a second person has approved it."
)

EXAMPLES = """\
examples:
  tunnelbook propose brush-p2 --hz 43.5 \\
      --evidence 2026-11-19T0920-m-osterby#3 \\
      --why "Near the bottom of the band."
  tunnelbook propose low-brush-p --flow-gpm 4.1 --evidence ... --why ... --from 2026-12-01
  tunnelbook propose brush-p2 --hz 43.5 ... --dry-run      look, and write nothing

Refused are entries that do not exist, that read no speed of this machine or
that are older than the last change of its mechanics, and values outside the
drive's limits, off its steps, in force already, or further away than the site
allows at once. Nothing here approves anything.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", metavar="MACHINE", help="its file's name in equipment/, without .yaml"
    )
    setting = parser.add_mutually_exclusive_group(required=True)
    setting.add_argument("--hz", type=float, metavar="X", help="frequency of the drive")
    setting.add_argument("--flow-gpm", type=float, metavar="X", help="oil flow in US gallons a min")
    setting.add_argument("--flow-lpm", type=float, metavar="X", help="oil flow in litres a minute")
    parser.add_argument(
        "--evidence",
        action="extend",
        nargs="+",
        default=[],
        metavar="VISIT#N",
        help="speed readings that support it; may be left out only for a drive's first setting",
    )
    parser.add_argument("--why", required=True, metavar="TEXT", help="the reason, on one line")
    parser.add_argument(
        "--from",
        dest="first_day",
        type=date.fromisoformat,
        metavar="DATE",
        help="the day it takes effect; by default tomorrow",
    )
    parser.add_argument(
        "--line-rate", type=float, metavar="N", help="vehicles an hour; by default the site's"
    )
    parser.add_argument("--by", metavar="PERSON", help="who proposes; by default whom git knows")
    parser.add_argument("--dry-run", action="store_true", help="show it and write nothing")
    add_site_option(parser)
    add_as_of(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.files.save import UnconfirmedError, remove_leftovers  # noqa: PLC0415
    from ledger.files.tree import UnreadableFileError  # noqa: PLC0415
    from ledger.upkeep.tuning.proposal import objections  # noqa: PLC0415
    from ledger.upkeep.tuning.proposal_file import proposal_file, write_over  # noqa: PLC0415

    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    remove_leftovers(site.root)
    proposal = _proposal(parsed, site)
    against = objections(site.ledger, proposal)
    for objection in against:
        sys.stderr.write(f"refused: {objection.message}; {objection.remedy}\n")
    if against:
        sys.stderr.write("nothing was written\n")
        return 1
    try:
        made = proposal_file(site.root, proposal)
    except (ValueError, UnreadableFileError) as wrong:
        raise Failure(f"setpoints/{proposal.machine.ident}.yaml: {wrong}") from None
    if _has_errors(site, made):
        sys.stderr.write("nothing was written\n")
        return 1
    print(_page_text(site, proposal))
    print(f"# {made.path}\n{made.added}", flush=True)
    if parsed.dry_run:
        return 0
    try:
        written = write_over(site.root, made)
    except UnconfirmedError as wrong:
        raise Failure(fault_text(wrong)) from None
    except OSError as wrong:
        raise Failure(f"nothing was written: {fault_text(wrong)}") from None
    print(f"\nwrote {written}\n\n{_steps(site, proposal, made)}")
    return 0


def _proposal(parsed: argparse.Namespace, site: OpenSite) -> "Proposal":
    from ledger.cli.filing import person_who  # noqa: PLC0415
    from ledger.upkeep.tuning.proposal import Proposal  # noqa: PLC0415

    ledger = site.ledger
    machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
    key, number = next(
        (key, value)
        for key in ("hz", "flow_gpm", "flow_lpm")
        if (value := getattr(parsed, key)) is not None
    )
    _require_setting(machine, key)
    rate = ledger.site.line.line_rate_per_h if parsed.line_rate is None else parsed.line_rate
    for what, value in (("--" + key.replace("_", "-"), number), ("--line-rate", rate)):
        if not 0 < value < float("inf"):
            raise Failure(f"{what} takes a number above 0")
    return Proposal(
        machine=machine,
        key=key,
        number=number,
        line_rate_per_h=rate,
        first_day=parsed.first_day or site.as_of + timedelta(days=1),
        why=" ".join(parsed.why.split()),
        evidence=tuple(dict.fromkeys(parsed.evidence)),
        by=person_who(parsed, site, ledger).ident,
        on=site.as_of,
    )


def _require_setting(machine: "Machine", key: str) -> None:
    from ledger.model.machines import ElectricDrive  # noqa: PLC0415

    if not machine.has_setpoint:
        raise Failure(
            f"nothing can be set on `{machine.ident}`: its file states no limits of a drive"
        )
    if isinstance(machine.drive, ElectricDrive) != (key == "hz"):
        wanted = "--hz" if key != "hz" else "--flow-gpm or --flow-lpm"
        raise Failure(f"the drive of `{machine.ident}` is set by {wanted}")


def _has_errors(site: OpenSite, made: "ProposalFile") -> bool:
    """Whether a check of the whole site finds an error in the new file; says what it finds."""
    from ledger.cli import diagnostics_forms  # noqa: PLC0415
    from ledger.files.tree import (  # noqa: PLC0415
        DiskTree,
        WithNewFiles,
    )
    from ledger.site.pipeline import check, load  # noqa: PLC0415

    loaded = load(WithNewFiles(tree=DiskTree(site.root), new={made.path: made.text}))
    before = {d.message for d in check(site.loaded, site.as_of)}
    about = [
        d
        for d in check(loaded, site.as_of)
        if d.position.path == made.path and (d.is_error or d.message not in before)
    ]
    sys.stderr.write(diagnostics_forms.render(about, "text"))
    return any(d.is_error for d in about)


def _page_text(site: OpenSite, proposal: "Proposal") -> str:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.tuning.proposal import evidence_of  # noqa: PLC0415
    from ledger.upkeep.tuning.proposal_page import ProposedSetting, proposal_page  # noqa: PLC0415

    proposed = ProposedSetting(
        machine=proposal.machine,
        value=proposal.value,
        line_rate_per_h=proposal.line_rate_per_h,
        first_day=proposal.first_day,
        evidence=evidence_of(site.ledger, proposal),
    )
    return render(proposal_page(site.ledger, proposed))


def _steps(site: OpenSite, proposal: "Proposal", made: "ProposalFile") -> str:
    machine = proposal.machine.ident
    branch = f"setting-{machine}-{proposal.first_day}"
    title = f"Propose {proposal.shown(proposal.value)} for {machine}"
    git = "git" if str(site.root) in (".", "") else f"git -C {shlex.quote(str(site.root))}"
    people = [
        person
        for person in site.ledger.site.people.values()
        if "setpoints" in person.approves
        and person.is_here(proposal.on)
        and (person.ident != proposal.by or not site.ledger.site.policy.approver_differs)
    ]
    who = " or ".join(f"{person.name} ({person.ident})" for person in people)
    return f"""\
Next, hand it to a second person:
  {git} switch -c {branch}
  {git} add {made.path}
  {git} commit -m {shlex.quote(title)} -m {shlex.quote(proposal.why)}
  {git} push -u origin {branch}
and open a pull request. In force once {who or "somebody whom site.yaml lets approve"}
has added approved_by there. Then read the speed at the new setting within \
{site.ledger.site.policy.follow_up_days} days."""
