"""Signing a file with a person's SSH key, by the `ssh-keygen` on the PATH, as they asked for."""

import shutil
import subprocess
from pathlib import Path

from ledger.history.git import GitProblem, without_controls


def sign(payload: bytes, key: Path, namespace: str) -> bytes:
    """A detached signature over some bytes, for a purpose.

    `key` is a private key, or a public one whose private half an agent holds; a passphrase is
    asked for at the terminal. Raises GitProblem where nothing could be signed.
    """
    program = shutil.which("ssh-keygen")
    if program is None:
        raise GitProblem(
            rule="not-signed",
            message="`ssh-keygen` is not installed, or not on the PATH.",
            remedy="Install OpenSSH.",
        )
    command = [program, "-q", "-Y", "sign", "-n", namespace, "-f", str(key)]
    done = subprocess.run(command, input=payload, capture_output=True, check=False)
    if done.returncode != 0 or not done.stdout:
        why = done.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        raise GitProblem(
            rule="not-signed",
            message=f"Nothing was signed with {key}: {without_controls(why) or 'no reason given'}",
            remedy="Name your SSH key with --key, or load it into your agent with ssh-add.",
        )
    return done.stdout
