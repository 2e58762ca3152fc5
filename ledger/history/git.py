"""The one place that runs git: plumbing only, with all that a repository could make it run off.

A site's repository is text written by others. Its configuration, attributes, hooks and refs, and
the caller's environment, may name programs to run or files to read in place of the truth. So:

- only the commands in `PLUMBING` are run; none of them starts a hook, filter, textconv, external
  diff, editor, alias or signature program on its own, and the settings that would make them are
  overridden on the command line, which git reads last;
- the child sees a fixed environment: nothing of the caller's `GIT_*`, only where to find programs,
  the home folder and, for git's own ownership test, who called sudo;
- the system's and the user's configuration are not read, but for one key, see
  `_safe_directories`;
- no object is fetched: every transport is refused, lazy fetching from a partial clone too;
- replace refs, grafts and the commit graph, each of which can show another history than the
  commits themselves do, are not consulted (`history_state` says that they are there);
- git itself refuses a repository of another owner, and a bare repository that lies inside the
  files of a checkout.
"""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO

from ledger.values import dataclass, field, replace

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


@dataclass(kw_only=True, eq=False)  # not frozen: Python hangs tracebacks on an exception
class GitProblem(Exception):  # noqa: N818  it is shown to a person as it is
    """Why git could not answer, in words for a person, with what to do about it.

    `rule` is a stable kebab-case id. `nearest` holds names that may have been meant.
    """

    rule: str
    message: str
    remedy: str = ""
    nearest: tuple[str, ...] = ()

    def __str__(self) -> str:
        near = f" Nearest: {', '.join(self.nearest)}." if self.nearest else ""
        return " ".join(part for part in (self.message + near, self.remedy) if part)


def without_controls(text: str) -> str:
    """The text without control characters, line ends aside: names in it may be hostile."""
    return _CONTROL.sub("", text)


def explain(complaint: bytes, folder: Path) -> GitProblem:
    """Git's own words on a failure, as a problem with a remedy; control characters are dropped."""
    words = without_controls(complaint.decode("utf-8", "replace")).strip()
    first = words.partition("\n")[0].removeprefix("fatal: ")
    if "dubious ownership" in words:
        return GitProblem(
            rule="another-owner",
            message=f"The repository of {folder} belongs to another user, so git refuses it.",
            remedy="If you trust its owner: git config --global --add safe.directory "
            "and the repository's top folder.",
        )
    if "safe.bareRepository" in words:
        return GitProblem(
            rule="bare-repository",
            message=f"{folder} is, or lies in, a bare repository; "
            "one among the files of a checkout can be a trap.",
            remedy="Give the site folder of a clone with a working tree.",
        )
    if "not a git repository" in words:
        return GitProblem(
            rule="not-a-repository",
            message=f"{folder} is in no git repository.",
            remedy="Give the site folder of a clone, or make one: git init, git add, git commit.",
        )
    if "cannot change to" in words:
        return GitProblem(rule="no-folder", message=f"There is no folder {folder}.")
    if "lazy fetching disabled" in words or "promisor remote" in words:
        return GitProblem(
            rule="objects-elsewhere",
            message="This is a partial clone, and what is asked for is not in it.",
            remedy="Fetch everything first: git fetch --refetch --no-filter.",
        )
    return GitProblem(
        rule="git-failed",
        message=f"Git could not read the repository of {folder}: {first or 'it gave no reason'}.",
        remedy="git fsck shows what is damaged.",
    )


PLUMBING = frozenset(
    {
        "cat-file",
        "commit-tree",
        "config",
        "diff-tree",
        "for-each-ref",
        "hash-object",
        "ls-tree",
        "merge-base",
        "merge-tree",
        "read-tree",
        "rev-list",
        "rev-parse",
        "update-index",
        "update-ref",
        "version",
        "write-tree",
    }
)


OLDEST_GIT = (2, 38)


# As much as a pipe holds on most systems.
_BUFFER_BYTES = 1 << 16


# What the child may see of the caller's environment. HOME also serves `~/` in safe.directory.
_KEPT = (
    "HOME",
    "HOMEDRIVE",
    "HOMEPATH",
    "SUDO_UID",
    "SYSTEMROOT",
    "TEMP",
    "TMP",
    "TMPDIR",
    "USERPROFILE",
    "XDG_CONFIG_HOME",
)


# Where git looks for safe.directory: a choice of the caller's, which the repository cannot make.
_PROTECTED_CONFIGURATION = re.compile(
    r"GIT_CONFIG_(?:GLOBAL|SYSTEM|NOSYSTEM|PARAMETERS|COUNT|KEY_\d+|VALUE_\d+)"
)


_FIXED = {
    "GIT_ALLOW_PROTOCOL": "none",
    "GIT_ASKPASS": "false",
    "GIT_ATTR_NOSYSTEM": "1",
    "GIT_EDITOR": "false",
    # Into a pipe, git would write each line by itself; nobody waits for single lines here.
    "GIT_FLUSH": "0",
    "GIT_GRAFT_FILE": os.devnull,
    "GIT_LITERAL_PATHSPECS": "1",
    "GIT_NO_LAZY_FETCH": "1",
    "GIT_NO_REPLACE_OBJECTS": "1",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_PAGER": "cat",
    "GIT_SSH_COMMAND": "false",
    "GIT_TERMINAL_PROMPT": "0",
    "GIT_TRACE2": "0",
    "GIT_TRACE2_EVENT": "0",
    "GIT_TRACE2_PERF": "0",
    "LC_ALL": "C",
}


_OWN_CONFIGURATION_OFF = {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"}


_SETTINGS = (
    "core.alternateRefsCommand=false",
    "core.askPass=false",
    f"core.attributesFile={os.devnull}",
    "core.commitGraph=false",
    # What is read in order needs few bases at a time; git would fill 96 MB with them.
    "core.deltaBaseCacheLimit=4m",
    "core.editor=false",
    f"core.excludesFile={os.devnull}",
    "core.fsmonitor=false",
    f"core.hooksPath={os.devnull}",
    "core.pager=cat",
    "core.sshCommand=false",
    "core.untrackedCache=false",
    "core.useReplaceRefs=false",
    "credential.helper=",
    "diff.ignoreSubmodules=none",
    f"diff.orderFile={os.devnull}",
    "diff.relative=false",
    "diff.renames=false",
    "gc.auto=0",
    "gpg.program=false",
    "gpg.openpgp.program=false",
    "gpg.ssh.program=false",
    "gpg.x509.program=false",
    "log.mailmap=false",
    "log.showRoot=true",
    "log.showSignature=false",
    "maintenance.auto=false",
    "protocol.allow=never",
    "safe.bareRepository=explicit",
    "sequence.editor=false",
    "submodule.recurse=false",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Git:
    """Runs git's plumbing in `folder`, and nothing else that the folder's repository asks for."""

    executable: str
    folder: Path
    version: str = ""
    safe_directories: tuple[str, ...] = ()
    environment: Mapping[str, str] = field(repr=False)

    def output(
        self, *arguments: str, stdin: bytes = b"", more: Mapping[str, str] | None = None
    ) -> bytes:
        """What git prints, with `more` in its environment. Raises GitProblem where it fails."""
        code, printed, complaint = self._run(arguments, stdin, more)
        if code != 0:
            raise explain(complaint, self.folder)
        return printed

    def line(
        self, *arguments: str, stdin: bytes = b"", more: Mapping[str, str] | None = None
    ) -> str:
        """The one line git prints, without its end; a name may hold any byte but NUL."""
        printed = self.output(*arguments, stdin=stdin, more=more)
        return os.fsdecode(printed.removesuffix(b"\n"))

    def answer(self, *arguments: str) -> bool:
        """Git's yes (exit 0) or no (exit 1). Raises GitProblem on any other end."""
        return self.status_and_output(*arguments)[0]

    def status_and_output(self, *arguments: str) -> tuple[bool, bytes]:
        """As `answer`, with what git prints beside it."""
        code, printed, complaint = self._run(arguments)
        if code not in (0, 1):
            raise explain(complaint, self.folder)
        return code == 0, printed

    def attempt(self, *arguments: str) -> bytes | None:
        """What git prints, or None where it says no, for whatever reason."""
        code, printed, _ = self._run(arguments)
        return printed if code == 0 else None

    def object_id(self, name: str) -> str | None:
        """The full id of the object that a name leads to, such as `HEAD:site.yaml`; or None."""
        command = ("rev-parse", "--verify", "--quiet", "--end-of-options", name)
        found = self.attempt(*command)
        return None if found is None else found.decode("ascii", "replace").strip()

    def stream(
        self, *arguments: str, stdin: IO[bytes] | int, stdout: IO[bytes] | int = subprocess.PIPE
    ) -> "Stream":
        """Git running, its output to be read as it comes, or going into the file `stdout`.

        Close the stream after use.
        """
        complaints = tempfile.TemporaryFile()  # noqa: SIM115  closed with the stream
        child = subprocess.Popen(
            self.command(arguments),
            bufsize=_BUFFER_BYTES,
            stdin=stdin,
            stdout=stdout,
            stderr=complaints,
            env=self.environment,
        )
        return Stream(child=child, complaints=complaints, folder=self.folder)

    def command(self, arguments: Sequence[str]) -> list[str]:
        """The argument vector. Raises ValueError for a command that is not plumbing."""
        if not arguments or arguments[0] not in PLUMBING:
            raise ValueError(f"not a plumbing command: {' '.join(arguments)}")
        settings = (*_SETTINGS, *(f"safe.directory={place}" for place in self.safe_directories))
        options = [part for setting in settings for part in ("-c", setting)]
        return [self.executable, "--no-pager", *options, "-C", str(self.folder), *arguments]

    def _run(
        self, arguments: Sequence[str], stdin: bytes = b"", more: Mapping[str, str] | None = None
    ) -> tuple[int, bytes, bytes]:
        done = subprocess.run(
            self.command(arguments),
            input=stdin,
            capture_output=True,
            env={**self.environment, **(more or {})},
            check=False,
        )
        return done.returncode, done.stdout, done.stderr


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """A running git: `child.stdout` to read from, `close` when done or to give up."""

    child: subprocess.Popen[bytes]
    complaints: IO[bytes]
    folder: Path

    @property
    def stdout(self) -> IO[bytes]:
        if self.child.stdout is None:
            raise ValueError("git was started without a pipe to read from")
        return self.child.stdout

    @property
    def stdin(self) -> IO[bytes]:
        if self.child.stdin is None:
            raise ValueError("git was started without a pipe to write to")
        return self.child.stdin

    def finish(self) -> None:
        """Wait for the end. Raises GitProblem where git failed."""
        if self.child.wait() != 0:
            raise self.problem()

    def problem(self) -> GitProblem:
        """Git's complaint, where it has ended or must be ended."""
        self.child.kill()
        self.child.wait()
        self.complaints.seek(0)
        return explain(self.complaints.read(), self.folder)

    def close(self) -> None:
        """End git, finished or not, and let go of its pipes."""
        self.child.kill()
        self.child.wait()
        for pipe in (self.child.stdin, self.child.stdout, self.complaints):
            if pipe is not None:
                try:
                    pipe.close()
                except BrokenPipeError:
                    continue  # an unsent request to a git that is gone


def git_in(folder: Path, caller: Mapping[str, str] | None = None) -> Git:
    """A Git for `folder`, with what it needs of the caller's environment (os.environ if not given).

    Raises GitProblem where there is no git, or one before `OLDEST_GIT`: older ones have no
    setting to refuse a bare repository among the files of a checkout.
    """
    caller = os.environ if caller is None else caller
    # A relative entry would let a file named `git` in the site's folder run.
    places = os.pathsep.join(
        place for place in caller.get("PATH", "").split(os.pathsep) if Path(place).is_absolute()
    )
    executable = shutil.which("git", path=places)
    if executable is None:
        raise GitProblem(
            rule="git-missing",
            message="Git is not installed, or not on the PATH.",
            remedy="Install git 2.38 or later.",
        )
    kept = {name: caller[name] for name in _KEPT if name in caller}
    environment = {**kept, "PATH": places, **_FIXED}
    protected = {name: caller[name] for name in caller if _PROTECTED_CONFIGURATION.fullmatch(name)}
    git = Git(executable=executable, folder=folder, environment=environment)
    return replace(
        git,
        version=_version_of(git),
        safe_directories=_safe_directories(git, protected),
        environment={**environment, **_OWN_CONFIGURATION_OFF},
    )


def _outside(git: Git) -> Git:
    """The same at the top of the file system, outside any site."""
    return replace(git, folder=Path(git.folder.anchor or "/"))


def _version_of(git: Git) -> str:
    """As git says it; GitProblem where it is too old."""
    version = _outside(git).line("version", more=_OWN_CONFIGURATION_OFF)
    found = re.search(r"(\d+)\.(\d+)", version)
    if found is None or (int(found[1]), int(found[2])) < OLDEST_GIT:
        raise GitProblem(
            rule="git-too-old",
            message=f"This is {without_controls(version)}; "
            f"{OLDEST_GIT[0]}.{OLDEST_GIT[1]} or later is needed.",
            remedy="Install a newer git.",
        )
    return version


def _safe_directories(git: Git, protected: Mapping[str, str]) -> tuple[str, ...]:
    """The user's and the machine's own safe.directory, in order, as git would have read them.

    The rest of that configuration stays off; this one key is the person's word on whose
    repositories to trust. It is asked for at the top of the file system, outside the site, and a
    value from a repository's own file is not taken, as git does not take it either.
    """
    command = ("config", "-z", "--show-scope", "--get-all", "safe.directory")
    printed = replace(_outside(git), environment={**git.environment, **protected}).attempt(*command)
    fields = (printed or b"").split(b"\0")[:-1]
    return tuple(
        os.fsdecode(value)
        for scope, value in zip(fields[::2], fields[1::2], strict=True)
        if scope in (b"system", b"global", b"command")
    )
