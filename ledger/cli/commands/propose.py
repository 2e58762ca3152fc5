"""`tunnelbook propose`: a new setting of a drive, for a second person to look at."""

import argparse
import shlex
import sys
from datetime import timedelta
from typing import TYPE_CHECKING

from ledger.cli.arguments import WHY, arg, command, day, number, one_of
from ledger.cli.command import (
    Failure,
    FaultyFiles,
    OpenSite,
    fault_text,
    faults_with,
    known,
    open_site,
    print_faults,
    say_written,
)

if TYPE_CHECKING:
    from ledger.upkeep.tuning.proposal import Proposal
    from ledger.upkeep.tuning.proposal_file import ProposalFile


def _propose(parsed: argparse.Namespace) -> int:
    from ledger.files.save import UnconfirmedError, remove_leftovers
    from ledger.files.tree import UnreadableFileError
    from ledger.upkeep.tuning.proposal import objections
    from ledger.upkeep.tuning.proposal_file import proposal_file, write_over

    site = open_site(parsed)
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
    except (ValueError, UnreadableFileError) as error:
        raise FaultyFiles(f"setpoints/{proposal.machine.ident}.yaml: {error}") from None
    if _has_errors(site, made):
        sys.stderr.write("nothing was written\n")
        return 1
    print(_page_text(site, proposal))
    print(f"# {made.path}\n{made.added}", flush=True)
    if parsed.dry_run:
        return 0
    try:
        written = write_over(site.root, made)
    except UnconfirmedError as error:
        raise Failure(fault_text(error)) from None
    except OSError as error:
        raise Failure(f"nothing was written: {fault_text(error)}") from None
    print()
    say_written(parsed, written)
    print(f"\n{_steps(site, proposal, made)}")
    return 0


def _proposal(parsed: argparse.Namespace, site: OpenSite) -> "Proposal":
    from ledger.cli.filing import person_who
    from ledger.model.machines import ElectricDrive
    from ledger.upkeep.tuning.proposal import Proposal

    ledger = site.ledger
    machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
    given = {key: getattr(parsed, key) for key in ("hz", "flow_gpm", "flow_lpm")}
    key, number = next((key, value) for key, value in given.items() if value is not None)
    if not machine.has_setpoint:
        raise Failure(
            f"nothing can be set on `{machine.ident}`: its file states no limits of a drive"
        )
    if isinstance(machine.drive, ElectricDrive) != (key == "hz"):
        right = "--hz" if key != "hz" else "--flow-gpm or --flow-lpm"
        raise Failure(f"the drive of `{machine.ident}` is set by {right}")
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


def _has_errors(site: OpenSite, made: "ProposalFile") -> bool:
    """Whether a check of the whole site finds an error in the new file; says what it finds."""
    from ledger.site.pipeline import check

    before = {d.message for d in check(site.loaded, site.as_of)}
    found = faults_with(site, made.path, made.text)
    print_faults(d for d in found if d.is_error or d.message not in before)
    return any(d.is_error for d in found)


def _page_text(site: OpenSite, proposal: "Proposal") -> str:
    from ledger.book.terminal import render
    from ledger.upkeep.tuning.proposal_page import proposal_page

    return render(proposal_page(site.ledger, proposal))


def _steps(site: OpenSite, proposal: "Proposal", made: "ProposalFile") -> str:
    from ledger.model.policy import possible_approvers

    machine = proposal.machine.ident
    branch = f"setting-{machine}-{proposal.first_day}"
    title = f"Propose {proposal.shown(proposal.value)} for {machine}"
    git = "git" if str(site.root) in (".", "") else f"git -C {shlex.quote(str(site.root))}"
    people = possible_approvers(site.ledger.site, proposal.by, proposal.on)
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


COMMANDS = {
    "propose": command(
        _propose,
        "Write a proposed setting into the drive's file, and print what the evidence supports. "
        "Comments and layout are kept. The setting is in force only after a second person has "
        "approved it.",
        """\
  tunnelbook propose brush-p2 --hz 43.5 \\
      --evidence 2026-11-19T0920-m-osterby#3 \\
      --why "Near the bottom of the band."
  tunnelbook propose low-brush-p --flow-gpm 4.1 --evidence ... --why ... --from 2026-12-01
  tunnelbook propose brush-p2 --hz 43.5 ... --dry-run      look, and write nothing

Evidence is refused if the entry does not exist, reads no speed of this machine,
or is older than the last mechanical change. A value is refused if it is outside
the drive's limits, not on one of its steps, in force already, or further away
than the site allows in one step. Nothing here approves anything.
""",
        arg("machine", "MACHINE", "its file's name in equipment/, without .yaml"),
        one_of(
            number("--hz", "X", "frequency of the drive"),
            number("--flow-gpm", "X", "oil flow in US gallons a min"),
            number("--flow-lpm", "X", "oil flow in litres a minute"),
            required=True,
        ),
        arg(
            "--evidence",
            "VISIT#N",
            "speed readings that support it; may be left out only for a drive's first setting",
            action="extend",
            nargs="+",
            default=[],
        ),
        arg(WHY, "TEXT", "the reason, on one line", required=True),
        arg(
            "--from",
            "DATE",
            "the day it takes effect; by default tomorrow",
            dest="first_day",
            type=day,
        ),
        number("--line-rate", "N", "vehicles an hour; by default the site's"),
        arg("--by", "PERSON", "who proposes; by default the person git knows"),
        takes="day dry-run",
    )
}
