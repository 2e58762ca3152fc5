"""Approvals as signed statements in the tree, which survive squash, rebase and another host.

`approvals/<id>.yaml` names the site and each file that it covers, with the hash of its bytes before
and after, and who signed; `<id>.yaml.sig` beside it is the SSH signature over the statement's own
bytes. A statement is verified with the keys that the line trusted before the landing that brought
it.
"""

import json
from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from ledger.files.paths import Kind
from ledger.history.commit import Change
from ledger.history.verification import Outcome, Verification, detached_signature
from ledger.model.policy import GitProof
from ledger.model.site import Site
from ledger.proof.records import Reader, sound_document
from ledger.proof.signatures import Signatures
from ledger.values import dataclass

if TYPE_CHECKING:
    from concurrent.futures import Future

NAMESPACE = "approval@tunnelbook"
"""What a statement is signed for, so that no signature for something else can stand as one."""

NOTHING = "none"
"""Stands for the hash of a file that is not there."""

SIGNATURE_ENDING = ".sig"

STATEMENTS = "approvals/"


def hash_of(raw: bytes | None) -> str:
    """A file's bytes as a statement names them."""
    import hashlib  # noqa: PLC0415 - takes longer to import than a history without statements has

    return NOTHING if raw is None else f"sha256:{hashlib.sha256(raw).hexdigest()}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """A signed statement as it arrived: by whom, what it covers, and the verification under way.

    `blob` is the object id of its text, `site` the name that this site began with.
    """

    path: str
    blob: str
    site: str
    text: "StatementText"
    verification: "Future[Verification]"

    @property
    def proof(self) -> tuple[str, GitProof]:
        """Whom it speaks for, and whether its signature bears that out."""
        found = self.verification.result()
        is_here = self.text.site == self.site
        held = is_here and found.outcome is Outcome.VERIFIED and found.signer == self.text.by
        elsewhere = "" if is_here else f", but for the site {self.text.site}"
        words = f"{self.path}, dated {self.text.at}, {found.words}{elsewhere}"
        return self.text.by, GitProof(held=held, words=words)


class Statements:
    """The statements that came to the line and were not used yet: each counts once."""

    def __init__(self, blobs: Reader, signatures: Signatures) -> None:
        self._blobs = blobs
        self._signatures = signatures
        self._files: dict[str, str] = {}
        self._unused: dict[str, list[Statement]] = {}
        # By their own blobs: under another name it is still the same statement.
        self._used: set[tuple[str, str]] = set()

    def arrive(self, changes: Iterable[Change], site: Site, began_as: str) -> bool:
        """Take in what a landing changes, signed with keys of `site`; whether it is anything.

        `began_as` is the name that the site began with, which a statement has to give.
        """
        files = {
            change.path: change.new_text_oid
            for change in changes
            if change.path.startswith(STATEMENTS) and change.new_text_oid is not None
        }
        stems = sorted({path.removesuffix(SIGNATURE_ENDING) for path in files})
        self._files |= files
        found = [one for path in stems if (one := self._read(path, site, began_as)) is not None]
        for one in found:
            for covered_path in one.text.covers:
                self._unused.setdefault(covered_path, []).append(one)
        return bool(found)

    def take(self, path: str, before: Collection[str], after: str) -> list[Statement]:
        """The statements that cover a change of a file; they are used up by it."""
        found = [
            one
            for one in self._unused.get(path, ())
            if one.text.covers[path][0] in before
            and one.text.covers[path][1] == after
            and (one.blob, path) not in self._used
        ]
        for one in found:
            self._unused[path].remove(one)
            if one.proof[1].held:
                self._used.add((one.blob, path))
        return found

    def _read(self, path: str, site: Site, began_as: str) -> Statement | None:
        text, signature = (self._files.get(name) for name in (path, path + SIGNATURE_ENDING))
        if text is None or signature is None:
            return None
        raw = self._blobs.read(text)
        document = sound_document(path, raw, Kind.STATEMENT)
        if document is None:
            return None
        armour = self._blobs.read(signature)
        verification = self._signatures.begin(detached_signature(raw, armour, NAMESPACE), site)
        content = statement_text(document.value)
        return Statement(
            path=path, blob=text, site=began_as, text=content, verification=verification
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementText:
    """What a statement says: who approves, where, when as they say, each file before and after."""

    by: str
    site: str
    at: str
    covers: Mapping[str, tuple[str, str]]


def statement_text(value: Any) -> StatementText:
    """The statement of a document that its schema accepts."""
    return StatementText(
        by=value["by"],
        site=value["site"],
        at=value["at"],
        covers={one["path"]: (one["before"], one["after"]) for one in value["covers"]},
    )


def statement_file(by: str, site: str, at: str, path: str, hashes: tuple[str, str]) -> str:
    """The text of a statement on one file, with the hashes of its bytes before and after."""
    return (
        f"by: {by}\nsite: {json.dumps(site, ensure_ascii=False)}\nat: {at}\ncovers:\n"
        f"  - path: {path}\n    before: {hashes[0]}\n    after: {hashes[1]}\n"
    )
