"""Real repositories with fixed people and dates, so that object ids are the same on every run."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from copy import copy
from pathlib import Path

from ledger.history.commit import Commit
from ledger.history.log import History
from ledger.history.repository import open_repository, resolve
from ledger.proof.audit import Audit, audit

MIRA = ("Mira Osterby", "mira@example.org")
DAG = ("Dag Varrick", "dag@example.org")
FIRST_INSTANT = 1_767_250_800  # 2026-01-01T08:00+01:00


def git(folder: Path, *words: str) -> str:
    """What git prints in a folder, as whoever runs the program."""
    done = subprocess.run(["git", "-C", folder, *words], capture_output=True, text=True, check=True)
    return done.stdout


def audited(repository, **how) -> Audit:
    """The audit of all that HEAD reaches."""
    known = how.get("remembered")
    with History(repository, remembered=[known] if known else ()) as history:
        return audit(history, **how)


def commits_of(repository, head: str = "HEAD") -> Iterator[Commit]:
    """Every commit that a head reaches, parents before children."""
    with History(repository, resolve(repository, head)) as history:
        for landing in history.landings():
            yield from landing.commits


class Repo:
    """A repository under a test's folder; each commit is made one hour after the one before."""

    def __init__(self, folder: Path, *, object_format: str = "sha1") -> None:
        self.folder = folder
        self.clock = FIRST_INSTANT
        folder.mkdir(parents=True)
        self.git("init", "-q", "--template=", "-b", "main", f"--object-format={object_format}")
        # Else each commit starts two more programs, which find nothing to tidy up.
        with (folder / ".git/config").open("a") as config:
            config.write("[gc]\n\tauto = 0\n[maintenance]\n\tauto = false\n")

    def copy(self, folder: Path) -> "Repo":
        """The same history in another folder, and the next commit at the same instant."""
        twin = copy(self)
        twin.folder = Path(shutil.copytree(self.folder, folder, symlinks=True))
        return twin

    def environment(self, **more: str) -> dict[str, str]:
        """What an ordinary user's shell has, without the configuration of whoever runs the tests."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
        home = self.folder.parent / "home"
        home.mkdir(exist_ok=True)
        return {
            **kept,
            "HOME": str(home),
            "XDG_CONFIG_HOME": str(home / ".config"),
            "GIT_CONFIG_NOSYSTEM": "1",
            "LC_ALL": "C",
            **more,
        }

    def git(self, *arguments: str, stdin: bytes = b"", **environment: str) -> str:
        done = subprocess.run(
            ["git", "-C", str(self.folder), *arguments],
            input=stdin,
            capture_output=True,
            env=self.environment(**environment),
            check=False,
        )
        assert done.returncode == 0, done.stderr.decode()
        return done.stdout.decode("utf-8", "surrogateescape").removesuffix("\n")

    def write(self, path: str, content: str | bytes) -> None:
        place = self.folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content.encode() if isinstance(content, str) else content)

    def people(self, author: tuple[str, str], committer: tuple[str, str] | None) -> dict[str, str]:
        name, email = committer or author
        self.clock += 3600
        return {
            "GIT_AUTHOR_NAME": author[0],
            "GIT_AUTHOR_EMAIL": author[1],
            "GIT_AUTHOR_DATE": f"{self.clock} +0100",
            "GIT_COMMITTER_NAME": name,
            "GIT_COMMITTER_EMAIL": email,
            "GIT_COMMITTER_DATE": f"{self.clock} +0100",
        }

    def commit(
        self,
        message: str = "Change",
        files: dict[str, str | bytes | None] | None = None,
        *,
        by: tuple[str, str] = MIRA,
        committer: tuple[str, str] | None = None,
    ) -> str:
        """Write (or with None, remove) the files, commit all there is, and return the id."""
        for path, content in (files or {}).items():
            if content is None:
                (self.folder / path).unlink()
            else:
                self.write(path, content)
        self.git("add", "-A")
        self.git("commit", "-q", "--allow-empty", "-m", message, **self.people(by, committer))
        return self.head()

    def merge(self, *branches: str, message: str = "Merge", by: tuple[str, str] = DAG) -> str:
        self.git("merge", "-q", "--no-ff", "-m", message, *branches, **self.people(by, None))
        return self.head()

    def merge_of(self, parents: list[str], files: dict[str, str], message: str = "Merge") -> str:
        """A merge whose whole tree is `files`, whatever its parents hold; HEAD is set to it."""
        entries = [f"100644 blob {self.blob(content)}\t{path}" for path, content in files.items()]
        tree = self.git("mktree", stdin="".join(f"{entry}\n" for entry in entries).encode())
        options = [part for parent in parents for part in ("-p", parent)]
        oid = self.git("commit-tree", tree, *options, "-m", message, **self.people(DAG, None))
        self.git("reset", "-q", "--hard", oid)
        return oid

    def blob(self, content: str | bytes) -> str:
        body = content.encode() if isinstance(content, str) else content
        return self.git("hash-object", "-w", "--stdin", stdin=body)

    def raw(self, kind: str, content: bytes) -> str:
        """An object with just these bytes, however malformed."""
        return self.git("hash-object", "-t", kind, "--literally", "-w", "--stdin", stdin=content)

    def raw_commit(self, headers: bytes, message: bytes = b"\nMessage\n") -> str:
        """A commit of HEAD's tree on HEAD, its headers after `parent` given raw; HEAD is set to it."""
        tree = self.git("rev-parse", "HEAD^{tree}")
        oid = self.raw(
            "commit", f"tree {tree}\nparent {self.head()}\n".encode() + headers + message
        )
        self.git("update-ref", "refs/heads/main", oid)
        return oid

    def head(self) -> str:
        return self.git("rev-parse", "HEAD")

    def open(self, inside: str = ""):
        return open_repository(self.folder / inside, self.environment())
