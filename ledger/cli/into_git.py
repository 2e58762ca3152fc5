"""What a command wrote goes into git: a commit of those files alone, and on to the others.

`filing:` of site.yaml says how far (files, commit, push); `--commit` and `--push` go further for
one command. The commit is made by plumbing, so what somebody staged stays out of it.

The branch `book` gets the pages of the last commit, without a checkout.
"""

import shlex
import shutil
import subprocess
import sys
from argparse import Namespace
from collections.abc import Iterable, Iterator, Mapping
from datetime import tzinfo
from pathlib import Path

from ledger.cli.arguments import PUSH, flag
from ledger.cli.clock import Clock
from ledger.cli.command import Failure, OpenSite, failing_on, open_commit_today
from ledger.cli.environment import git_user
from ledger.files.names import BOOK, BOOK_BRANCH, repository_above
from ledger.history.git import GitProblem
from ledger.history.new_commit import Committer, commit_files, commit_to_branch
from ledger.history.objects import GitTree
from ledger.history.repository import Repository, branch_tip, open_repository, remote_of, resolve
from ledger.model.site import Site

INTO_GIT = (flag("--commit", "commit what is filed, and nothing else"), PUSH)

_FILES, _COMMIT, _PUSH = _WAYS = ("files", "commit", "push")


def git_in_words(root: Path) -> str:
    """How a person begins a git command for a site from where they are."""
    return "git" if str(root) in (".", "") else f"git -C {shlex.quote(str(root))}"


def way_of(parsed: Namespace, site: Site) -> str:
    """How far what is filed goes: `files`, `commit` or `push`."""
    wanted = _PUSH if parsed.push else _COMMIT if getattr(parsed, "commit", False) else _FILES
    return max(wanted, site.filing, key=_WAYS.index)


def committer(root: Path, clock: Clock) -> Committer:
    """Who commits here and now, as git knows them. Raises Failure where it knows nobody."""
    user = git_user(root)
    if not user.name or not user.email:
        raise Failure("git does not know who you are; set user.name and user.email in it")
    return Committer(name=user.name, email=user.email, when=clock(None))


_NOT_COMMITTED = "filed, not committed: "


def commit_filed(root: Path, files: Mapping[str, bytes], message: str, clock: Clock) -> None:
    """Commit files of the site, which are on the disk already. Raises Failure."""
    with failing_on(GitProblem, Failure, after=_NOT_COMMITTED):
        repository = open_repository(root)
        head = resolve(repository, "HEAD")
        by = committer(root, clock)
        made = commit_files(repository, head, files, message=message, by=by)
    print(f"committed {made[:10]}: {message.partition(chr(10))[0]}")


def commit_left_over(root: Path, paths: Iterable[str], message: str, clock: Clock) -> None:
    """Commit the files of the site that are not in git yet: their commit failed, or never was.

    Raises Failure.
    """
    with failing_on(GitProblem, after=_NOT_COMMITTED):
        repository = open_repository(root)
        there = f"{resolve(repository, 'HEAD')}:{repository.prefix}"
        left = [p for p in paths if repository.git.attempt("cat-file", "-e", there + p) is None]
    if left:
        commit_filed(root, {path: (root / path).read_bytes() for path in left}, message, clock)


def waiting_text(root: Path, zone: tzinfo) -> str:
    """A line on the visits that lie in this clone alone, and since when; "" where none does.

    Where git cannot tell, nothing is said: this stands below what somebody asked for.
    """
    from ledger.book.words import format_count
    from ledger.history.waiting import visits_waiting

    if repository_above(str(root.resolve())) is None:
        return ""
    try:
        found = visits_waiting(open_repository(root))
    except (GitProblem, OSError):
        return ""
    if found.since is None:
        return ""
    visits = found.uncommitted + found.unpushed
    lie = "lies" if visits == 1 else "lie"
    parts = {"not committed": found.uncommitted, "not pushed": found.unpushed}
    state = ", ".join(
        f"{count} {what}" if count < visits else what for what, count in parts.items() if count
    )
    when = f"{found.since.astimezone(zone):%A %Y-%m-%d %H:%M}"
    return f"{format_count(visits, 'visit')} {lie} here since {when}, {state}\n"


def end_filing(root: Path, way: str, zone: tzinfo) -> int:
    """Push what was filed where that is the way, and say what lies here still. Exit status."""
    status = _push(root) if way == _PUSH else 0
    print(waiting_text(root, zone), end="")
    return status


def _push(root: Path) -> int:
    """Push the branch; where others were faster, put its commits on theirs first. Exit status.

    This runs the git of whoever asked, with their settings: it has to sign in where they do.
    """
    if _git(root, "rev-parse", "--verify", "@{upstream}") and (remote := _remote(root)):
        # A branch begun here: it gets its like at the remote.
        return say_pushed(_git(root, "push", "--quiet", "--set-upstream", remote, "HEAD"))
    refused = _git(root, "push", "--quiet")
    if refused and not _git(root, "fetch", "--quiet"):
        refused = _git(root, "rebase", "--quiet", "@{upstream}")
        if refused:
            _git(root, "rebase", "--abort")
        else:
            refused = _git(root, "push", "--quiet")
    return say_pushed(refused)


def _remote(root: Path) -> str:
    try:
        return remote_of(open_repository(root))
    except GitProblem:
        return ""


def push_branch(root: Path, repository: Repository, branch: str) -> str:
    """Push a branch that is not checked out; what git complains of, "" where it did it."""
    remote = remote_of(repository)
    if not remote:
        return "this repository has no remote\n"
    return _git(root, "push", "--quiet", "--set-upstream", remote, branch)


def say_pushed(refused: str) -> int:
    """Say that a push went well, or what git complained of. Exit status."""
    if refused:
        sys.stderr.write(f"committed here, not pushed; git says:\n{refused}")
        return 1
    print("pushed")
    return 0


def _git(root: Path, *words: str) -> str:
    """What git complains of; "" where it did what it was asked."""
    done = subprocess.run(
        [shutil.which("git") or "git", "-C", str(root), *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    return "" if done.returncode == 0 else done.stderr or f"git {words[0]} failed\n"


RENDERED_FROM = "Rendered-from: "


def write_branch(parsed: Namespace, root: Path) -> None:
    """Render what the last commit holds onto the branch, and say so. Raises Failure."""
    with failing_on(GitProblem, after=f"the branch {BOOK_BRANCH} was not written: "):
        repository = open_repository(root)
        site = open_commit_today(parsed, root, "HEAD")
        pages = _pages(site)
        tip = branch_tip(repository, BOOK_BRANCH)
        summary = f"{len(pages)} files of {(site.commit or '')[:10]} as of {site.as_of}"
        if parsed.dry_run:
            print(f"would write {summary} to the branch {BOOK_BRANCH}")
            return
        there: set[str] = set()
        if tip is not None:
            with GitTree(repository, tip) as tree:
                there = set(tree.paths())
        made = commit_to_branch(
            repository,
            BOOK_BRANCH,
            {path: text.encode() for path, text in pages.items()},
            onto=tip,
            message=f"Render the book as of {site.as_of}\n\n{RENDERED_FROM}{site.commit}\n",
            by=committer(root, parsed.clock),
            without=there - pages.keys(),
        )
    state = f"committed {made[:10]}" if made else "nothing to write"
    print(f"{summary} on the branch {BOOK_BRANCH}: {state}")


def stale_on_branch(parsed: Namespace, root: Path) -> Iterator[str]:
    """What `write_branch` would change: `due.md: changed`. Raises Failure."""
    with failing_on(GitProblem, after=f"the branch {BOOK_BRANCH} cannot be looked at: "):
        repository = open_repository(root)
        pages = _pages(open_commit_today(parsed, root, "HEAD"))
        tip = branch_tip(repository, BOOK_BRANCH)
        if tip is None:
            yield f"there is no branch {BOOK_BRANCH}"
            return
        with GitTree(repository, tip, max_bytes=1 << 24) as tree:
            there = set(tree.paths())
            for path, text in pages.items():
                if path not in there:
                    yield f"{path}: missing"
                elif tree.read(path) != text.encode():
                    yield f"{path}: changed"
            yield from (f"{path}: left over" for path in sorted(there - pages.keys()))


def _pages(site: OpenSite) -> dict[str, str]:
    from ledger.site.rendering import book_files, branch_readme

    files = {f"{BOOK}/{path}": text for path, text in book_files(site.ledger, site.as_of).items()}
    return {"README.md": branch_readme(site.ledger), **files}
