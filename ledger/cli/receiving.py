"""Visits that were sent become files: of the folder, or on a branch that is not checked out."""

import stat
import sys
from argparse import Namespace
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.cli import command as cli
from ledger.cli import into_git
from ledger.cli.command import Failure, OpenSite, failing_on
from ledger.cli.environment import filed_by
from ledger.cli.filing import has_errors, ledger_of
from ledger.files.save import UnconfirmedError
from ledger.files.tree import DiskTree
from ledger.history.git import GitProblem
from ledger.history.new_commit import commit_to_branch
from ledger.history.repository import branch_tip, open_repository, resolve

if TYPE_CHECKING:
    from ledger.filing.posted import Posted
    from ledger.filing.visit_file import VisitFile
    from ledger.model.ledger import Ledger

BRANCH = "received"
"""Where what lands in an inbox goes."""

_ENDINGS = (".txt", ".yaml", ".yml", ".eml", ".html")


def texts_in(folder: Path) -> dict[str, tuple[int, int]]:
    """The texts of a folder by path, sorted, with what changes where one does. Raises OSError."""
    found = {}
    for path in sorted(folder.iterdir()):
        if path.name.lower().endswith(_ENDINGS) and not path.name.startswith("."):
            state = path.stat()
            if stat.S_ISREG(state.st_mode):
                found[str(path)] = (state.st_mtime_ns, state.st_size)
    return found


def read_limited(name: str) -> bytes:
    """What was sent, by its path, or "-" for standard input. Raises Failure, OSError."""
    from ledger.filing.posted import MOST_BYTES

    if name == "-":
        raw = sys.stdin.buffer.read(MOST_BYTES + 1)
    else:
        with Path(name).open("rb") as opened:
            raw = opened.read(MOST_BYTES + 1)
    if len(raw) > MOST_BYTES:
        raise Failure(f"{name} is larger than {MOST_BYTES // 2**20} MiB, and no visit is")
    return raw


class Folder:
    """Visits go into the folder of the site, and into git as the site says."""

    def __init__(self, parsed: Namespace) -> None:
        self._parsed = parsed
        site = ledger_of(self.site()).site
        self._zone, self._way = site.zone, into_git.way_of(parsed, site)

    def site(self) -> OpenSite:
        return cli.open_site(self._parsed)

    def write(self, site: OpenSite, file: "VisitFile", message: str) -> None:
        """Raises Failure, OSError."""
        from ledger.filing.visit_file import write_new

        try:
            write_new(site.root, file.path, file.text)
        except UnconfirmedError as error:
            raise Failure(f"filed, but look whether it is there: {cli.fault_text(error)}") from None
        self._parsed.answer.written.append(file.path)
        if self._way != "files":
            files = {file.path: file.text.encode()}
            into_git.commit_filed(site.root, files, message, self._parsed.clock)

    def leave(self, site: OpenSite, path: str, message: str) -> None:
        """One that is there already may not be in git yet. Raises Failure."""
        if self._way != "files":
            into_git.commit_left_over(site.root, [path], message, self._parsed.clock)

    def end(self) -> int:
        """Exit status."""
        return into_git.end_filing(cli.site_root(self._parsed.site), self._way, self._zone)


class Branch:
    """Visits are committed to a branch that is not checked out, and pushed as the site says.

    It follows HEAD, or the branch's own last commit as long as that has a visit that HEAD lacks.
    """

    def __init__(self, parsed: Namespace, name: str) -> None:
        self._parsed = parsed
        self._name = name
        self._squashed: str | None = None
        self._root = cli.site_root(parsed.site)
        self._repository = open_repository(self._root)
        self._way = into_git.way_of(parsed, ledger_of(self.site()).site)

    def site(self) -> OpenSite:
        tip, git = branch_tip(self._repository, self._name), self._repository.git
        self._squashed = None
        if tip is None or git.answer("merge-base", "--is-ancestor", tip, "HEAD"):
            tip = "HEAD"
        elif not git.output(
            "diff-tree", "-r", "--diff-filter=A", "HEAD", tip, "--", "observations"
        ):
            self._squashed, tip = tip, "HEAD"
        return cli.open_commit_today(self._parsed, self._root, tip)

    def write(self, site: OpenSite, file: "VisitFile", message: str) -> None:
        """Raises Failure, GitProblem."""
        onto, by = site.commit or "HEAD", into_git.committer(self._root, self._parsed.clock)
        if self._squashed:
            # What was squashed stays below, so that a push only adds.
            onto = commit_to_branch(
                self._repository,
                self._name,
                {},
                onto=onto,
                message=f"Go on from what was merged of {self._name}\n",
                by=by,
                merging=self._squashed,
            )
        files = {file.path: file.text.encode()}
        commit_to_branch(self._repository, self._name, files, onto=onto, message=message, by=by)
        print(f"committed to the branch {self._name}")

    def leave(self, site: OpenSite, path: str, message: str) -> None:
        """What is there already is in git."""

    def push(self) -> str:
        """What git complains of; "" where it was pushed, or is not to be."""
        if self._way != "push":
            return ""
        return into_git.push_branch(self._root, self._repository, self._name)

    def end(self) -> int:
        """Exit status."""
        return into_git.say_pushed(self.push()) if self._way == "push" else 0


class _RefusedError(Exception):
    """Why a visit is not filed; empty where that was said."""


def _hold_rounds(
    site: OpenSite, entries: Sequence[dict[str, Any]], day: date, *, may_cut: bool
) -> tuple[list[str], bool]:
    """What is said of the rounds of a visit, and whether one was cut; raises _RefusedError.

    Where the files name other places than a round asked about, the page's commit tells which. What
    has come since is left out of the round where that is allowed, as nobody looked at it.
    """
    ledger = ledger_of(site)
    rounds = [
        one for one in entries if "in_order" in one and ledger.tasks.keys() >= {*one["tasks"]}
    ]
    held = [_held(site, ledger, claim, day, may_cut=may_cut) for claim in rounds]
    return [words for words, _ in held if words], any(is_cut for _, is_cut in held)


def _held(
    site: OpenSite, ledger: "Ledger", claim: dict[str, Any], day: date, *, may_cut: bool
) -> tuple[str, bool]:
    from ledger.pocket.fill import DAYS
    from ledger.upkeep.due.rounds import asked_about, asked_of, list_of

    count, digits = list_of(ledger, claim["tasks"], day)
    if (count, digits) == (claim["of"], claim.get("list", digits)):
        return "", False
    of = f"its round was asked of {claim['of']} places"
    then, source = _source(site, claim)
    # A page serves for some days.
    days = [day - timedelta(days=ago) for ago in range(DAYS)]
    asked = None if then is None else asked_about(then, claim, days)
    if asked is None:
        other = f"name {count}" if count != claim["of"] else "name others"
        raise _RefusedError(
            f"{of}, and the files of this site {other}; {source}: "
            "make the pocket page anew, and walk the round again with it"
        )
    left = set(claim.get("except", ()))
    new = {
        place
        for task in claim["tasks"]
        for place in asked_of(ledger, task, day)
        if (task, place) not in asked and not left & {place, place.partition("/")[0]}
    }
    since = ", ".join(sorted(new)) or "nothing"
    if new and not may_cut:
        raise _RefusedError(
            f"{of} {source}, and not of {since}: give what was added its `in_service` in "
            "equipment/, or say --accept-changed, and the round leaves it out"
        )
    if new:
        claim["except"] = [*claim.get("except", ()), *sorted(new)]
    return f"{of} {source}; left out as added since: {since}", bool(new)


def _source(site: OpenSite, claim: dict[str, Any]) -> "tuple[Ledger | None, str]":
    """The ledger of the page's commit, and how it is named; without one, why."""
    from ledger.proof.sites import site_at

    commit = claim.get("commit", "")
    if not commit:
        return None, "it does not say of which commit its page was made"
    try:
        repository = open_repository(site.root)
        then = site_at(repository, resolve(repository, commit)).loaded.ledger
    except GitProblem as problem:
        return None, f"commit {commit} of its page cannot be read here ({problem.message})"
    return then, f"by commit {commit}"


def file_texts(parsed: Namespace, place: Folder | Branch, name: str, raw: bytes) -> Counter[str]:
    """File every visit of a text; how many are `filed`, `there` or `refused`, after saying so.

    Raises Failure where nothing can be filed now.
    """
    from ledger.filing.posted import text_of, visits_in

    found = list(visits_in(text_of(raw)))
    if not found:
        sys.stderr.write(f"{name}: no visit in it\n")
    outcomes: Counter[str] = Counter()
    for one in found:
        where = f"{name}, line {one.line}"
        try:
            outcomes[_file(parsed, place, one, where)] += 1
        except _RefusedError as refused:
            outcomes["refused"] += 1
            why = str(refused)
            sys.stderr.write(f"{where}: not filed: {why}\n" if why else "")
    return outcomes


def _file(parsed: Namespace, place: Folder | Branch, posted: "Posted", where: str) -> str:
    from ledger.model.build_visit import local_instant

    value = _value(posted, where, may_be_changed=parsed.accept_changed)
    # What was filed just now is part of the site that this one is checked with.
    site = place.site()
    ledger = ledger_of(site)
    when = local_instant(value["at"], ledger.site)
    there, taken = _there(site, value, when)
    state = "as it was sent" if posted.is_whole else "changed since it was sent"
    said: list[str] = []
    if not there:
        day = when.astimezone(ledger.site.zone).date()
        said, is_cut = _hold_rounds(site, value["entries"], day, may_cut=parsed.accept_changed)
        if is_cut:
            state += ", but for places that its round did not ask about"
            there, taken = _there(site, value, when)
    person = ledger.site.people.get(value["by"])
    message = (
        f"File a visit of {person.name if person else value['by']}, {when:%Y-%m-%d %H:%M}\n\n"
        f"Visit-by: {value['by']}\nReceived: {state}\n"
    )
    if there:
        print(f"{where}: there already: {there}")
        if not parsed.dry_run:
            place.leave(site, there, message)
        return "there"
    filer = filed_by(ledger.site, site.root, (value["by"], *value.get("with", ())))
    file = _checked_file(parsed, site, value | filer, when, taken)
    repaired = f" (repaired: {', '.join(dict.fromkeys(posted.repairs))})" if posted.repairs else ""
    print(f"{where}: {file.path}{repaired}")
    print("".join(f"{where}: {one}\n" for one in said), end="")
    if parsed.dry_run:
        print(file.text)
        return "filed"
    with failing_on(OSError, GitProblem, after=f"nothing was filed of {where}: "):
        place.write(site, file, message)
    if filer and not ledger.site.policy.filed_for_others:
        sys.stderr.write(
            f"{where}: filed by `{filer['filed_by']}` for another; an audit takes that only where "
            "site.yaml says `filed_for_others: true` under policy\n"
        )
    return "filed"


def _checked_file(
    parsed: Namespace, site: OpenSite, visit: dict[str, Any], when: datetime, taken: frozenset[str]
) -> "VisitFile":
    """The file of a visit, after saying what a check finds; raises _RefusedError for an error."""
    from ledger.filing.visit_file import entered_at, visit_file

    entered = entered_at(when, parsed.clock(ledger_of(site).site.zone))
    first = ("at", "by", "with", "filed_by")
    head: dict[str, Any] = {key: visit[key] for key in first if key in visit}
    try:
        file = visit_file(site.root, {**head, **entered, **visit}, when, taken)
    except FileExistsError as error:
        raise _RefusedError(str(error)) from None
    found = [*file.diagnostics] or cli.faults_with(site, file.path, file.text)
    cli.print_faults(found)
    if has_errors(found):
        raise _RefusedError("the site would have errors with it")
    return file


def _there(site: OpenSite, visit: dict[str, Any], when: datetime) -> tuple[str, frozenset[str]]:
    """The file that holds a visit already, "" without one; and names taken beside the folder's."""
    from ledger.filing.visit_file import filed_already

    there = filed_already(DiskTree(site.root), visit, when)
    if there or site.commit is None:
        return there, frozenset()
    with cli.tree_of(site) as tree:
        stems = frozenset(Path(path).stem for path in tree.paths())
        return filed_already(tree, visit, when), stems


def _value(posted: "Posted", where: str, *, may_be_changed: bool) -> dict[str, Any]:
    """The visit's values, but for who files it: git here says that, and nothing that was sent.

    Raises _RefusedError, after saying why, where they are no visit by the schema.
    """
    from ledger.files.paths import Kind, Source
    from ledger.files.reading import parse_document
    from ledger.files.schemas import check_document

    if posted.fault:
        raise _RefusedError(posted.fault)
    if not posted.is_whole and not may_be_changed:
        raise _RefusedError(
            "it is not what was sent: it was changed on the way, or by hand; look at it, and if "
            "it is right as it stands, say --accept-changed"
        )
    source = Source(kind=Kind.VISIT, path=where, ident="")
    document, found = parse_document(source, posted.yaml.encode())
    if document is not None:
        found = (*found, *check_document(document))
    cli.print_faults(found)
    if document is None or found:
        raise _RefusedError
    return {key: value for key, value in document.value.items() if key != "filed_by"}


class Inbox:
    """A folder that is looked into again and again; what lands there goes onto a branch.

    Nothing ends it: what the system or git refuses is noted, and tried again some looks later.
    """

    LOOKS_BETWEEN_TRIES = 10

    def __init__(self, folder: Path, branch: str) -> None:
        self._folder = folder
        self._branch = branch
        self._seen: dict[str, tuple[int, int]] = {}
        self._found: dict[str, tuple[int, int]] = {}
        self._is_to_end = False
        self._looks = 0
        self.fault = ""

    def has_news(self) -> bool:
        """Whether something lies there that was not received, as far as it is time to try."""
        self._looks -= 1
        if self.fault and self._looks > 0:
            return False
        try:
            self._found = texts_in(self._folder)
        except OSError as error:
            self._note(cli.fault_text(error))
            return False
        is_new = self._is_to_end or any(self._seen.get(n) != s for n, s in self._found.items())
        if not is_new:
            self.fault = ""
        return is_new

    def receive(self, parsed: Namespace) -> int:
        """Receive what is new, each text whatever happens to the others; 0."""
        new = [name for name, state in self._found.items() if self._seen.get(name) != state]
        faults = [self._trying(partial(self._take, parsed, name)) for name in new]
        if self._is_to_end:
            faults.append(self._trying(partial(self._end, parsed)))
        self._note("; ".join(filter(None, faults)))
        return 0

    def _take(self, parsed: Namespace, name: str) -> None:
        raw = read_limited(name)
        outcome = file_texts(parsed, Branch(parsed, self._branch), name, raw)
        self._seen[name] = self._found[name]
        self._is_to_end |= bool(outcome["filed"])

    def _end(self, parsed: Namespace) -> None:
        refused = Branch(parsed, self._branch).push()
        if refused:
            raise Failure(f"committed here, not pushed; git says: {refused.strip()}")
        self._is_to_end = False

    def _trying(self, step: Callable[[], None]) -> str:
        """What the system or git would not do."""
        try:
            step()
        except Exception as error:
            ending = cli.ending_of(error)
            if ending is None:
                raise
            return ending[0]
        return ""

    def _note(self, fault: str) -> None:
        self.fault = fault
        self._looks = self.LOOKS_BETWEEN_TRIES
