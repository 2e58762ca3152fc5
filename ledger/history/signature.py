"""The signature that a commit carries: its kind, and which bytes of the commit it covers."""

import re
from dataclasses import dataclass, field
from enum import StrEnum

_HEADERS = (b"gpgsig ", b"gpgsig-sha256 ")
_SHA256_TREE = re.compile(rb"tree [0-9a-f]{64}\n")


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

    `payload` is the raw commit without its signature headers: what the signer signed. `armour` is
    empty where the commit has no single signature over its own object: several, or one made for
    the same commit under the other hash of git's.
    """

    kind: SignatureKind
    armour: bytes = field(repr=False)
    payload: bytes = field(repr=False)


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


def _kind(begins: bytes) -> SignatureKind:
    return next(
        (kind for frame, kind in _FRAMES if begins.startswith(frame)), SignatureKind.UNKNOWN
    )
