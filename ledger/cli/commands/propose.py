"""`tunnelbook propose`: a new setting of a drive, for a second person to look at."""

import shlex
import sys
from argparse import Namespace
from datetime import timedelta
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli import command as cli
from ledger.cli.arguments import PUSH, WHY, arg, command, day, flag, number, one_of
from ledger.cli.command import Failure, FaultyFiles, OpenSite, failing_on
from ledger.cli.filing import has_errors, person_who
from ledger.cli.into_git import committer, git_in_words, push_branch, say_pushed, way_of
from ledger.files.names import SITE_FILE
from ledger.files.save import UnconfirmedError, remove_leftovers
from ledger.files.tree import UnreadableFileError
from ledger.history.git import GitProblem
from ledger.history.new_commit import commit_to_branch
from ledger.history.repository import Repository, open_repository, ref_names, remote_of

if TYPE_CHECKING:
    from ledger.upkeep.tuning.proposal import Proposal
    from ledger.upkeep.tuning.proposal_file import ProposalFile


def _propose(parsed: Namespace) -> int:
    from ledger.book.terminal import render
    from ledger.upkeep.tuning.proposal import objections
    from ledger.upkeep.tuning.proposal_file import proposal_file
    from ledger.upkeep.tuning.proposal_page import proposal_page

    root = cli.site_root(parsed.site)
    remove_leftovers(root)
    repository = None if parsed.here else _repository(root)
    is_in_git = repository is not None
    site = cli.open_commit_today(parsed, root, "HEAD") if is_in_git else cli.open_site(parsed)
    proposal = _proposal(parsed, site)
    against = objections(site.ledger, proposal)
    for objection in against:
        sys.stderr.write(f"refused: {objection.message}; {objection.remedy}\n")
    if against:
        filed = {visit.ident for visit in site.ledger.visits}
        named = {entry.partition("#")[0] for entry in proposal.evidence}
        if repository is not None and not named <= filed:
            sys.stderr.write(_WHAT_COUNTS)
        sys.stderr.write("nothing was written\n")
        return 1
    try:
        with cli.tree_of(site) as tree:
            made = proposal_file(root, tree, proposal)
    except (ValueError, UnreadableFileError) as error:
        raise FaultyFiles(f"setpoints/{proposal.machine.ident}.yaml: {error}") from None
    if _is_at_fault(site, made):
        sys.stderr.write("nothing was written\n")
        return 1
    print(render(proposal_page(site.ledger, proposal)))
    print(f"# {made.path}\n{made.added}", flush=True)
    if parsed.dry_run:
        return 0
    if repository is None:
        return _into_folder(parsed, site, proposal, made)
    return _onto_branch(parsed, site, proposal, made, repository)


_WHAT_COUNTS = (
    "a proposal stands on what is committed: commit the visit first that is its evidence, "
    "or write it into the file here with --here\n"
)


def _repository(root: Path) -> Repository | None:
    """The repository whose last commit holds the site; None where there is none."""
    try:
        found = open_repository(root)
    except GitProblem as problem:
        if problem.rule in ("not-a-repository", "no-commit", "git-missing"):
            return None
        raise Failure(f"{problem} Or write the proposal into the file here, with --here.") from None
    is_there = found.git.object_id(f"HEAD:{found.prefix}{SITE_FILE}")
    return found if is_there else None


def _into_folder(
    parsed: Namespace, site: OpenSite, proposal: "Proposal", made: "ProposalFile"
) -> int:
    from ledger.upkeep.tuning.proposal_file import write_over

    try:
        written = write_over(site.root, made)
    except UnconfirmedError:
        raise
    except OSError as error:
        raise Failure(f"nothing was written: {cli.fault_text(error)}") from None
    print()
    cli.say_written(parsed, written)
    branch = _branch(proposal)
    title, why = (shlex.quote(text) for text in (_title(proposal), proposal.why))
    steps = (
        f"switch -c {branch}",
        f"add {made.path}",
        f"commit -m {title} -m {why}",
        f"push -u origin {branch}",
    )
    _say_next(site, proposal, branch, steps)
    return 0


def _onto_branch(
    parsed: Namespace,
    site: OpenSite,
    proposal: "Proposal",
    made: "ProposalFile",
    repository: Repository,
) -> int:
    """Commit the proposal to a branch of its own; files, index and checkout stay as they were."""
    with failing_on(GitProblem, Failure, after="nothing was written: "):
        by = committer(site.root, parsed.clock)
        branch, is_there = _free_branch(repository, _branch(proposal), made)
        if is_there:
            print(f"\nproposed already, on the branch {branch}")
        else:
            commit_to_branch(
                repository,
                branch,
                {made.path: made.new},
                onto=site.commit or "HEAD",
                message=f"{_title(proposal)}\n\n{proposal.why}\n",
                by=by,
            )
            print(f"\ncommitted to the new branch {branch}; the files here are as they were")
        remote = remote_of(repository)
    status = 0
    steps: tuple[str, ...] = (f"push -u {remote or 'REMOTE'} {branch}",)
    if way_of(parsed, site.ledger.site) == "push":
        status = say_pushed(push_branch(site.root, repository, branch))
        steps = steps if status else ()
    _say_next(site, proposal, branch, steps)
    return status


def _free_branch(repository: Repository, first: str, made: "ProposalFile") -> tuple[str, bool]:
    """A name that no branch has yet, here or at a remote; or the branch that holds the file."""
    named = {name.rpartition("/")[2] for name in ref_names(repository)}
    oid = repository.git.line("hash-object", "--stdin", stdin=made.new)
    for branch in chain((first,), (f"{first}-{again}" for again in count(2))):
        there = f"refs/heads/{branch}:{repository.prefix}{made.path}"
        if repository.git.object_id(there) == oid:
            return branch, True
        if branch not in named:
            break
    return branch, False


def _proposal(parsed: Namespace, site: OpenSite) -> "Proposal":
    from ledger.model.machines import ElectricDrive
    from ledger.upkeep.tuning.proposal import Proposal

    ledger = site.ledger
    machine = ledger.machines[cli.known(parsed.machine, ledger.machines, "machine")]
    given = {key: getattr(parsed, key) for key in ("hz", "flow_gpm", "flow_lpm")}
    key, number = next((key, value) for key, value in given.items() if value is not None)
    if not machine.has_setpoint:
        raise Failure(
            f"nothing can be set on `{machine.ident}`: its file states no limits of a drive, such "
            f"as `hz_limits: [25, 60]` under `drive` in equipment/{machine.ident}.yaml"
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


def _is_at_fault(site: OpenSite, made: "ProposalFile") -> bool:
    """Whether a check of the whole site finds an error in the new file; says what it finds."""
    from ledger.site.pipeline import check

    before = {d.message for d in check(site.loaded, site.as_of)}
    found = cli.faults_with(site, made.path, made.text)
    cli.print_faults(d for d in found if d.is_error or d.message not in before)
    return has_errors(found)


def _branch(proposal: "Proposal") -> str:
    return f"setting-{proposal.machine.ident}-{proposal.first_day}"


def _title(proposal: "Proposal") -> str:
    return f"Propose {proposal.shown(proposal.value)} for {proposal.machine.ident}"


def _say_next(site: OpenSite, proposal: "Proposal", branch: str, steps: tuple[str, ...]) -> None:
    """What git has still to do, where the pull request is opened, and who may approve."""
    from ledger.model.policy import possible_approvers
    from ledger.upkeep.speeds.ratios import neighbours_of
    from ledger.upkeep.speeds.words import format_beside

    git = git_in_words(site.root)
    details = site.ledger.site
    people = possible_approvers(details, proposal.by, proposal.on)
    who = " or ".join(f"{person.name} ({person.ident})" for person in people)
    address = details.pull_request_address.replace("{branch}", branch)
    shown = f": {address}" if address else "."
    if steps:
        print("\nNext, hand it to a second person:")
        print("".join(f"  {git} {step}\n" for step in steps), end="")
        print(f"and open a pull request{shown}")
    else:
        print(f"\nNext, open a pull request for a second person{shown}")
    print(f"""\
In force once {who or "somebody whom site.yaml lets approve"} has approved it in their clone:
  git fetch
  git switch {branch}
  tunnelbook approve {proposal.machine.ident}
Then read the speed at the new setting within {details.policy.follow_up_days} days.""")
    for also in format_beside(neighbours_of(site.ledger, proposal.machine)):
        print(also)


COMMANDS = {
    "propose": command(
        _propose,
        "Propose a setting on a branch of its own, and print what the evidence supports. The "
        "commit puts it into the drive's file, with comments and layout kept; the files in your "
        "folder stay as they are. The setting is in force only after a second person has approved "
        "it.",
        """\
  tunnelbook propose brush-p2 --hz 43.5 \\
      --evidence 2026-11-19T0920-m-osterby#3 \\
      --why "Near the bottom of the band."
  tunnelbook propose low-brush-p --flow-gpm 4.1 --evidence ... --why ... --from 2026-12-01
  tunnelbook propose brush-p2 --hz 43.5 ... --push         push that branch as well
  tunnelbook propose brush-p2 --hz 43.5 ... --here         into the file here, not committed
  tunnelbook propose brush-p2 --hz 43.5 ... --dry-run      look, and write nothing

The branch begins at the last commit and is named by drive and day. A site that is
not in git gets the setting into its file, and the git commands are printed.
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
        flag("--here", "write it into the drive's file in this folder, and commit nothing"),
        PUSH,
        takes="day dry-run",
    )
}
