"""Signatures that commits carry; those of SSH verified against keys that the caller trusts.

Nothing that the repository or the caller's configuration names is run or read: `ssh-keygen` is the
one on the PATH, the list of trusted keys is written for the one call into a private folder, and
the child sees neither an agent nor a configuration. OpenPGP and X.509 signatures are not looked
into: whom to trust there is written in key rings and certificates outside the site.
"""

import base64
import binascii
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from enum import StrEnum
from pathlib import Path

from ledger.history.git import Git, without_controls
from ledger.values import dataclass, field

_HEADERS = (b"gpgsig ", b"gpgsig-sha256 ")

_SHA256_TREE = re.compile(rb"tree [0-9a-f]{64}\n")


_KEPT = ("PATH", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR")

_PRINCIPAL = "signer"

_MAGIC = b"SSHSIG"

# Blanks within the frame and all that follows it are nothing to ssh-keygen.
_FRAMED = re.compile(
    rb"-----BEGIN SSH SIGNATURE-----\n(.*?)\n-----END SSH SIGNATURE-----", re.DOTALL
)

# Long enough for any key on any machine; a program that hangs is not waited for.
_MOST_SECONDS = 60

_REFUSED = b"Could not verify signature"

_UNSUPPORTED = b"unsupported"


class SignatureKind(StrEnum):
    """What made the signature a commit carries, by the frame around it."""

    OPENPGP = "OpenPGP"
    SSH = "SSH"
    X509 = "X.509"
    UNKNOWN = "unknown"


_FRAMES = (
    (b"-----BEGIN PGP", SignatureKind.OPENPGP),
    (b"-----BEGIN SSH SIGNATURE", SignatureKind.SSH),
    (b"-----BEGIN SIGNED MESSAGE", SignatureKind.X509),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A signature as the commit carries it, seen and not verified.

    `payload` is the raw commit without its signature headers: what the signer signed, for the
    purpose that `namespace` names. `armour` is empty where the commit has no single signature over
    its own object: several, or one made for the same commit under the other hash of git's.
    """

    kind: SignatureKind
    armour: bytes = field(repr=False)
    payload: bytes = field(repr=False)
    namespace: str = "git"


def signature_in(raw: bytes) -> Signature | None:
    """The signature of a raw commit object; None where it carries none.

    Source: git's signature-format documentation: the signature is the value of the header
    `gpgsig` (`gpgsig-sha256` in a repository of that hash), over the object without it.
    """
    head, blank, message = raw.partition(b"\n\n")
    kept: list[bytes] = []
    armours: list[tuple[bytes, list[bytes]]] = []
    in_armour = False
    for line in head.split(b"\n"):
        if line.startswith(_HEADERS):
            name, _, begins = line.partition(b" ")
            armours.append((name, [begins]))
            in_armour = True
        elif in_armour and line.startswith(b" "):
            armours[-1][1].append(line[1:])
        else:
            in_armour = False
            kept.append(line)
    if not armours:
        return None
    own_header = b"gpgsig-sha256" if _SHA256_TREE.match(raw) else b"gpgsig"
    own = [lines for name, lines in armours if name == own_header]
    return Signature(
        kind=_kind((own or [armours[0][1]])[0][0]),
        armour=b"\n".join(own[0]) + b"\n" if len(own) == 1 else b"",
        payload=b"\n".join(kept) + blank + message,
    )


def detached_signature(payload: bytes, armour: bytes, namespace: str) -> Signature:
    """A signature that lies beside what it signs."""
    return Signature(kind=_kind(armour), armour=armour, payload=payload, namespace=namespace)


def _kind(begins: bytes) -> SignatureKind:
    return next(
        (kind for frame, kind in _FRAMES if begins.startswith(frame)), SignatureKind.UNKNOWN
    )


class Outcome(StrEnum):
    """What became of a signature: only VERIFIED proves who made the commit."""

    VERIFIED = "verified"
    BAD = "bad"
    UNKNOWN_KEY = "by an unknown key"
    NOT_HERE = "that cannot be verified here"


@dataclass(frozen=True, slots=True)
class Verification:
    """An outcome, why, in words, and whose key it was where it is VERIFIED."""

    outcome: Outcome
    words: str
    signer: str = ""


class Verifier:
    """Verifies signatures with the `ssh-keygen` on the PATH that `git` runs with."""

    def __init__(self, git: Git) -> None:
        self._environment = {
            **{name: git.environment[name] for name in _KEPT if name in git.environment},
            "LC_ALL": "C",
        }
        self._program = shutil.which("ssh-keygen", path=git.environment["PATH"])

    def verify(self, signature: Signature, keys: Mapping[str, Sequence[str]]) -> Verification:
        """Hold a signature against `keys`: by the name of each person, public key lines.

        A key that two people have is nobody's. The outcome is NOT_HERE for a signature that is
        not SSH's, one that does not cover the commit's own object alone, and where there is no
        `ssh-keygen` that can verify.
        """
        if signature.kind is not SignatureKind.SSH:
            text = f"an {signature.kind} signature, and only SSH signatures are verified here"
            return Verification(Outcome.NOT_HERE, text)
        if not signature.armour:
            text = "not one signature over this very commit"
            return Verification(Outcome.NOT_HERE, text)
        if self._program is None:
            text = "`ssh-keygen` is not installed, or not on the PATH"
            return Verification(Outcome.NOT_HERE, text)
        made_by = _public_key(signature.armour)
        owned = [
            (person, trusted)
            for person, lines in sorted(keys.items())
            for trusted in map(_bare, lines)
            if trusted.partition(" ")[2] == made_by
        ]
        signer, trusted = owned[0] if len({person for person, _ in owned}) == 1 else ("", "")
        wrong = self._refused(signature, trusted)
        if wrong is not None:
            return wrong
        if signer:
            text = f"signed with a key of {signer}, {_fingerprint(made_by)}"
            return Verification(Outcome.VERIFIED, text, signer)
        whose = "a key that several people have" if owned else "a key that nobody had in site.yaml"
        text = f"signed with {whose}, {_fingerprint(made_by)}"
        return Verification(Outcome.UNKNOWN_KEY, text)

    def _refused(self, signature: Signature, trusted: str) -> Verification | None:
        """Why the signature does not hold over the commit's bytes; None where it does."""
        with tempfile.TemporaryDirectory(prefix="signature-") as folder:
            written = Path(folder, "signature")
            written.write_bytes(signature.armour)
            if trusted:
                listed = Path(folder, "trusted")
                listed.write_text(
                    f'{_PRINCIPAL} namespaces="{signature.namespace}" {trusted}\n', encoding="ascii"
                )
                action = ["verify", "-f", str(listed), "-I", _PRINCIPAL]
            else:
                action = ["check-novalidate"]
            purpose = ["-n", signature.namespace, "-s", str(written)]
            command = [str(self._program), "-Y", *action, *purpose]
            try:
                done = subprocess.run(
                    command,
                    input=signature.payload,
                    capture_output=True,
                    env=self._environment,
                    cwd=folder,
                    timeout=_MOST_SECONDS,
                    check=False,
                )
            except (OSError, subprocess.TimeoutExpired) as error:
                text = f"`ssh-keygen` could not be run: {type(error).__name__}"
                return Verification(Outcome.NOT_HERE, text)
        if done.returncode == 0:
            return None
        last = done.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        why = without_controls(last) or "no reason given"
        if _REFUSED in done.stdout and _UNSUPPORTED not in done.stderr:
            text = f"the signature does not fit the commit: {why}"
            return Verification(Outcome.BAD, text)
        return Verification(Outcome.NOT_HERE, f"`ssh-keygen` said: {why}")


def _bare(line: str) -> str:
    """Type and key out of a line of a .pub file, without its comment."""
    return " ".join(line.split()[:2])


def _public_key(armour: bytes) -> str:
    """The key that a signature says made it, in base64; "" where it cannot be read.

    Source: OpenSSH's PROTOCOL.sshsig: the preamble, a version of four bytes, the key as a string.
    """
    framed = _FRAMED.match(armour)
    if framed is None:
        return ""
    try:
        blob = base64.b64decode(b"".join(framed[1].split()), validate=True)
    except binascii.Error:
        return ""
    if not blob.startswith(_MAGIC):
        return ""
    key = _string(blob[len(_MAGIC) + 4 :])
    return "" if not key else base64.b64encode(key).decode("ascii")


def _string(blob: bytes) -> bytes | None:
    """The first string of an SSH wire format (RFC 4251, section 5): its length, then its bytes."""
    length = int.from_bytes(blob[:4], "big")
    found = blob[4 : 4 + length]
    return found if len(blob) >= 4 and len(found) == length else None


def _fingerprint(key: str) -> str:
    """As `ssh-keygen -l` shows it."""
    import hashlib  # noqa: PLC0415 - takes longer to import than a history without signatures has

    digest = hashlib.sha256(base64.b64decode(key)).digest()
    return "SHA256:" + base64.b64encode(digest).decode("ascii").rstrip("=")
