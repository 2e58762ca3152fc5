"""Real SSH keys, made for one test, and repositories that sign with them."""

import shutil
import subprocess
from pathlib import Path

import pytest
from tools import NOT_RUN, TOOLS_REQUIRED

needs_ssh_keygen = pytest.mark.skipif(
    shutil.which("ssh-keygen") is None and not TOOLS_REQUIRED,
    reason=f"{NOT_RUN}ssh-keygen (OpenSSH) is not on the path",
)


def make_key(folder: Path, name: str, kind: str = "ed25519") -> Path:
    """The private key's file; the public one lies beside it."""
    folder.mkdir(exist_ok=True)
    place = folder / name
    subprocess.run(
        ["ssh-keygen", "-q", "-t", kind, "-N", "", "-C", f"{name}@example.org", "-f", str(place)],
        check=True,
    )
    return place


def public_line(key: Path) -> str:
    """The one line of the public key's file, its comment included."""
    return key.with_name(f"{key.name}.pub").read_text(encoding="ascii").strip()


def sign_with(repo, key: Path | None) -> None:
    """From now on each commit and merge is signed with the key, or with None."""
    repo.git("config", "gpg.format", "ssh")
    repo.git("config", "user.signingKey", str(key or ""))
    repo.git("config", "commit.gpgSign", "true" if key else "false")


def signed_bytes(payload: bytes, key: Path, namespace: str) -> bytes:
    """A detached signature over some bytes, for a purpose."""
    done = subprocess.run(
        ["ssh-keygen", "-q", "-Y", "sign", "-n", namespace, "-f", str(key)],
        input=payload,
        capture_output=True,
        check=True,
    )
    return done.stdout
