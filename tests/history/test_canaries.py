"""A repository and an environment can name programs; plain git runs them, this package does not.

Every row plants a canary, reads all of history and of the tree with this package, and only then
runs an ordinary git command, which must set the canary off: so each row proves its own trap.
"""

import os
import pty
import subprocess
from contextlib import suppress
from dataclasses import dataclass, field

import pytest
from git_repo import commits_of

from ledger.files.tree import UnreadableFileError
from ledger.history.git import PLUMBING, GitProblem, git_in
from ledger.history.log import reached_by
from ledger.history.objects import BlobReader, GitTree
from ledger.history.repository import history_state, open_repository, remembered_head, resolve_as_of
from ledger.history.verification import Verifier

PERSON = b"Mira Osterby <mira@example.org> 1767250800 +0100"


@dataclass(frozen=True, kw_only=True)
class Trap:
    """`config` and `environment` may name {script} (touches {canary}) and {folder}, beside both."""

    fire: str
    config: dict[str, str] = field(default_factory=dict)
    environment: dict[str, str] = field(default_factory=dict)
    hook: str = ""
    files: dict[str, str] = field(default_factory=dict)
    armour: bytes = b""
    lost_blob: bool = False
    terminal: bool = False


def promisor(url: str, **more: str) -> dict[str, str]:
    return {
        "core.repositoryFormatVersion": "1",
        "extensions.partialClone": "origin",
        "remote.origin.promisor": "true",
        "remote.origin.url": url,
        **{key.replace("_", "."): value for key, value in more.items()},
    }


PGP = b"-----BEGIN PGP SIGNATURE-----\n \n AAAA\n -----END PGP SIGNATURE-----"
SSH = b"-----BEGIN SSH SIGNATURE-----\n AAAA\n -----END SSH SIGNATURE-----"
X509 = b"-----BEGIN SIGNED MESSAGE-----\n AAAA\n -----END SIGNED MESSAGE-----"
FSMONITOR = "[core]\n\tfsmonitor = {script}\n"
LAZY = "git cat-file -p HEAD:visit.yaml"

TRAPS = {
    # the working tree is looked at
    "core.fsmonitor": Trap(config={"core.fsmonitor": "{script}"}, fire="git status"),
    "core.fsmonitor, by include.path": Trap(
        config={"include.path": "{folder}/more"}, files={"more": FSMONITOR}, fire="git status"
    ),
    "core.fsmonitor, by includeIf": Trap(
        config={"includeIf.gitdir:**.path": "{folder}/more"},
        files={"more": FSMONITOR},
        fire="git status",
    ),
    "core.fsmonitor, by config.worktree": Trap(
        config={"core.repositoryFormatVersion": "1", "extensions.worktreeConfig": "true"},
        files={"../site/.git/config.worktree": FSMONITOR},
        fire="git status",
    ),
    "core.fsmonitor, in the home folder": Trap(
        files={"../home/.gitconfig": FSMONITOR}, fire="git status"
    ),
    "core.fsmonitor, in a submodule": Trap(
        config={"submodule.inner.url": "./inner"},
        fire="git init -q inner && git -C inner commit -q --allow-empty -m x"
        " && git -C inner config core.fsmonitor {script} && git add inner 2>&1 && git status",
    ),
    # hooks
    "hook post-index-change": Trap(
        hook="post-index-change", fire="touch -d 2001-01-01 visit.yaml && git status"
    ),
    "hook post-checkout": Trap(hook="post-checkout", fire="git checkout -q side"),
    "hook pre-commit": Trap(hook="pre-commit", fire="git commit -q --allow-empty -m x"),
    "hook reference-transaction": Trap(hook="reference-transaction", fire="git tag t"),
    "core.hooksPath": Trap(
        config={"core.hooksPath": "{folder}/hooks"},
        files={"hooks/post-checkout": "#!/bin/sh\n{script}\n"},
        fire="git checkout -q side",
    ),
    # pagers, editors, aliases
    "core.pager": Trap(config={"core.pager": "{script}"}, fire="git log", terminal=True),
    "pager.log": Trap(config={"pager.log": "{script}"}, fire="git log", terminal=True),
    "GIT_PAGER": Trap(environment={"GIT_PAGER": "{script}"}, fire="git log", terminal=True),
    "PAGER": Trap(environment={"PAGER": "{script}"}, fire="git log", terminal=True),
    "core.editor": Trap(config={"core.editor": "{script}"}, fire="git commit --amend"),
    "sequence.editor": Trap(config={"sequence.editor": "{script}"}, fire="git rebase -i HEAD~1"),
    "GIT_EDITOR": Trap(environment={"GIT_EDITOR": "{script}"}, fire="git commit --amend"),
    "alias": Trap(config={"alias.audit": "!{script}"}, fire="git audit"),
    # texts are shown or compared
    "diff.external": Trap(config={"diff.external": "{script}"}, fire="git diff HEAD~1 HEAD"),
    "GIT_EXTERNAL_DIFF": Trap(
        environment={"GIT_EXTERNAL_DIFF": "{script}"}, fire="git diff HEAD~1 HEAD"
    ),
    "diff driver": Trap(config={"diff.yaml.command": "{script}"}, fire="git diff HEAD~1 HEAD"),
    "textconv": Trap(config={"diff.yaml.textconv": "{script}"}, fire="git log -p"),
    "core.attributesFile": Trap(
        config={"core.attributesFile": "{folder}/attributes", "diff.other.textconv": "{script}"},
        files={"attributes": "*.txt diff=other\n"},
        fire="git log -p",
    ),
    "filter smudge": Trap(
        config={"filter.yaml.smudge": "{script}"}, fire="git cat-file --filters HEAD:visit.yaml"
    ),
    "filter clean": Trap(
        config={"filter.yaml.clean": "{script}"}, fire="git hash-object visit.yaml"
    ),
    "filter process": Trap(
        config={"filter.yaml.process": "{script}"}, fire="git cat-file --filters HEAD:visit.yaml"
    ),
    "merge driver": Trap(
        config={"merge.yaml.driver": "{script}"}, fire="git merge-tree --write-tree main side"
    ),
    "trailer command": Trap(
        config={"trailer.seen.command": "{script}"}, fire="echo text | git interpret-trailers"
    ),
    # signatures are looked at
    "gpg.program": Trap(
        config={"log.showSignature": "true", "gpg.program": "{script}"}, armour=PGP, fire="git log"
    ),
    "gpg.ssh.program": Trap(
        config={
            "log.showSignature": "true",
            "gpg.ssh.program": "{script}",
            "gpg.ssh.allowedSignersFile": "{script}",
        },
        armour=SSH,
        fire="git log",
    ),
    "gpg.x509.program": Trap(
        config={"log.showSignature": "true", "gpg.x509.program": "{script}"},
        armour=X509,
        fire="git log",
    ),
    "a relative PATH, to ssh-keygen": Trap(
        config={"log.showSignature": "true", "gpg.ssh.allowedSignersFile": "/dev/null"},
        environment={"PATH": ".:" + os.environ["PATH"]},
        files={"../site/ssh-keygen": "#!/bin/sh\n{script}\n"},
        armour=SSH,
        fire="git log",
    ),
    # a missing object is fetched
    "lazy fetch by ext transport": Trap(
        config=promisor("ext::{script}", protocol_ext_allow="always"), lost_blob=True, fire=LAZY
    ),
    "lazy fetch by remote.uploadpack": Trap(
        config=promisor("{folder}", remote_origin_uploadpack="{script}"), lost_blob=True, fire=LAZY
    ),
    "lazy fetch by core.sshCommand": Trap(
        config=promisor("ssh://host.invalid/x", core_sshCommand="{script}"),
        lost_blob=True,
        fire=LAZY,
    ),
    "lazy fetch by GIT_SSH_COMMAND": Trap(
        config=promisor("ssh://host.invalid/x"),
        environment={"GIT_SSH_COMMAND": "{script}"},
        lost_blob=True,
        fire=LAZY,
    ),
    "lazy fetch by core.gitProxy": Trap(
        config=promisor("git://host.invalid/x", core_gitProxy="{script}"),
        lost_blob=True,
        fire=LAZY,
    ),
    "lazy fetch by a remote helper": Trap(
        config=promisor("x", remote_origin_vcs="canary"),
        environment={"PATH": "{folder}/bin:" + os.environ["PATH"]},
        files={"bin/git-remote-canary": "#!/bin/sh\n{script}\n"},
        lost_blob=True,
        fire=LAZY,
    ),
    "core.alternateRefsCommand": Trap(
        config={"core.alternateRefsCommand": "{script}"},
        files={"../site/.git/objects/info/alternates": "{folder}/../other/.git/objects\n"},
        fire="git rev-list --alternate-refs",
    ),
    # a secret is asked for
    "credential.helper": Trap(
        config={"credential.helper": "!{script}"},
        fire="printf 'protocol=https\\nhost=host.invalid\\n\\n' | git credential fill",
    ),
    "core.askPass": Trap(
        config={"core.askPass": "{script}"},
        fire="printf 'protocol=https\\nhost=host.invalid\\n\\n' | git credential fill",
    ),
    "GIT_ASKPASS": Trap(
        environment={"GIT_ASKPASS": "{script}"},
        fire="printf 'protocol=https\\nhost=host.invalid\\n\\n' | git credential fill",
    ),
    # the caller's environment
    "GIT_CONFIG_COUNT": Trap(
        environment={
            "GIT_CONFIG_COUNT": "1",
            "GIT_CONFIG_KEY_0": "core.fsmonitor",
            "GIT_CONFIG_VALUE_0": "{script}",
        },
        fire="git status",
    ),
    "GIT_CONFIG_PARAMETERS": Trap(
        environment={"GIT_CONFIG_PARAMETERS": "'core.fsmonitor'='{script}'"}, fire="git status"
    ),
    "GIT_CONFIG_GLOBAL": Trap(
        environment={"GIT_CONFIG_GLOBAL": "{folder}/more"},
        files={"more": FSMONITOR},
        fire="git status",
    ),
    "GIT_EXEC_PATH": Trap(
        environment={"GIT_EXEC_PATH": "{folder}/bin"},
        files={"bin/git-submodule": "#!/bin/sh\n{script}\n"},
        fire="git submodule status",
    ),
    "GIT_TRACE": Trap(environment={"GIT_TRACE": "{canary}"}, fire="git log"),
    "GIT_TRACE2_EVENT": Trap(environment={"GIT_TRACE2_EVENT": "{canary}"}, fire="git log"),
    "a relative PATH": Trap(
        environment={"PATH": ".:" + os.environ["PATH"]},
        files={"../site/git": "#!/bin/sh\n{script}\n"},
        fire="git log",
    ),
}


@pytest.fixture
def trapped(make_repo):
    """A repository whose attributes name drivers, with two branches that both change one file."""
    make_repo("other").commit("Elsewhere", {"a.txt": "a\n"})
    repo = make_repo()
    repo.commit(
        "Start",
        {
            ".gitattributes": "*.yaml diff=yaml filter=yaml merge=yaml\n",
            "visit.yaml": "by: m-osterby\n",
            "notes.txt": "one\n",
        },
    )
    repo.git("branch", "side")
    repo.commit("Here", {"visit.yaml": "by: m-osterby\nat: 2026-01-01\n", "notes.txt": "two\n"})
    repo.git("checkout", "-q", "side")
    repo.commit("There", {"visit.yaml": "by: m-osterby\nat: 2026-01-02\n"})
    repo.git("checkout", "-q", "main")
    return repo


class Cage:
    """Where one trap is laid: the script that a trap runs, the canary it sets off."""

    def __init__(self, repo, folder, monkeypatch):
        self.repo = repo
        self.names = {
            "folder": folder / "trap",
            "script": folder / "trap" / "script",
            "canary": folder / "trap" / "canary",
        }
        self.names["folder"].mkdir()
        self.executable(self.names["script"], f"#!/bin/sh\ntouch '{self.names['canary']}'\n")
        for name in [name for name in os.environ if name.startswith("GIT_")]:
            monkeypatch.delenv(name)
        for name, value in repo.environment().items():
            monkeypatch.setenv(name, value)
        self.monkeypatch = monkeypatch

    def executable(self, place, text):
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text)
        place.chmod(0o755)

    def said(self, text):
        return text.format(**self.names) if "{" in text else text

    def lay(self, trap):
        if trap.armour:
            people = b"author " + PERSON + b"\ncommitter " + PERSON + b"\n"
            self.repo.raw_commit(people + b"gpgsig " + trap.armour + b"\n")
        for path, text in trap.files.items():
            self.executable(self.names["folder"] / path, self.said(text))
        for key, value in trap.config.items():
            self.repo.git("config", self.said(key), self.said(value))
        if trap.hook:
            hook = self.repo.folder / ".git" / "hooks" / trap.hook
            self.executable(hook, f"#!/bin/sh\n{self.names['script']}\n")
        if trap.lost_blob:
            oid = self.repo.git("rev-parse", "HEAD:visit.yaml")
            (self.repo.folder / ".git" / "objects" / oid[:2] / oid[2:]).unlink()
        for name, value in trap.environment.items():
            self.monkeypatch.setenv(name, self.said(value))

    def spring(self, trap):
        environment = {"GIT_TERMINAL_PROMPT": "0", **os.environ}
        for who in ("AUTHOR", "COMMITTER"):
            environment |= {f"GIT_{who}_NAME": "Mira", f"GIT_{who}_EMAIL": "mira@example.org"}
        command = ["/bin/sh", "-c", self.said(trap.fire)]
        ours, theirs = pty.openpty() if trap.terminal else os.pipe()
        with os.fdopen(ours, "rb"), os.fdopen(theirs, "wb") as output:
            subprocess.run(
                command,
                cwd=self.repo.folder,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                check=False,
            )

    def sprung(self):
        return self.names["canary"].exists()


def read_everything(folder):
    """Every call of this package that runs git or ssh-keygen, as many answers as they give."""
    repository = open_repository(folder)
    head = resolve_as_of(repository, "main", None)
    state = history_state(repository)
    commits = list(commits_of(repository))
    reached_by(repository, head)
    texts = []
    verifier = Verifier(repository.git)
    for commit in commits:
        if commit.signature is not None:
            verifier.verify(commit.signature, {})
    with GitTree(repository, head) as tree, BlobReader(repository) as blobs:
        for path in tree.paths():
            with suppress(UnreadableFileError):
                texts.append(tree.read(path))
        for commit in commits:
            for change in commit.changes:
                with suppress(GitProblem):
                    texts.append(blobs.read(change.new_oid))
    return state, remembered_head(repository, head), commits, texts


@pytest.mark.parametrize("trap", TRAPS.values(), ids=TRAPS)
def test_plain_git_runs_what_a_repository_names_and_this_package_does_not(
    trap, trapped, tmp_path, monkeypatch
):
    cage = Cage(trapped, tmp_path, monkeypatch)
    cage.lay(trap)

    _, _, commits, texts = read_everything(trapped.folder)
    assert not cage.sprung()
    assert len({commit.oid for commit in commits}) == (3 if trap.armour else 2)
    assert b"two\n" in texts

    cage.spring(trap)
    assert cage.sprung(), "the trap itself does not work"


def test_a_bare_repository_among_the_files_of_a_checkout_is_refused(trapped, tmp_path, monkeypatch):
    """Files of a commit can make up a whole repository, with a configuration of their own."""
    cage = Cage(trapped, tmp_path, monkeypatch)
    inner = trapped.folder / "inner"
    trapped.git("init", "-q", "--bare", "inner")
    for key, value in {
        "core.bare": "false",
        "core.worktree": str(inner),
        "core.fsmonitor": str(cage.names["script"]),
    }.items():
        trapped.git("--git-dir", str(inner), "config", key, value)

    with pytest.raises(GitProblem) as caught:
        open_repository(inner)
    assert caught.value.rule == "bare-repository"
    assert not cage.sprung()

    cage.spring(Trap(fire="cd inner && git status"))
    assert cage.sprung(), "the trap itself does not work"


def test_only_plumbing_is_run(repo):
    git = git_in(repo.folder, repo.environment())
    with pytest.raises(ValueError, match="not a plumbing command: status"):
        git.output("status")
    assert PLUMBING.isdisjoint({"log", "show", "diff", "status", "checkout", "fetch", "commit"})
