"""Read every file of a site, and say everything that is wrong with their text."""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

from ledger.files.diagnostics import Diagnostic, fault_of_file, in_reading_order, program_fault
from ledger.files.document import Document
from ledger.files.paths import Source, discover
from ledger.files.survey import content_hash
from ledger.files.text import decode
from ledger.files.tree import FileTree, UnreadableFileError
from ledger.files.yaml_fast import RefusedError, accept, forget_lines
from ledger.values import dataclass


@contextmanager
def without_collecting() -> Iterator[None]:
    """Put off Python's search for garbage: among values all kept it costs up to 70 % more."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            # What was made counts as old, so that it is not all gone through at once.
            gc.freeze()
            gc.unfreeze()
            gc.enable()


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """What a site's files hold, in the order of their paths, and what is wrong with their text.

    A file with faults that can be passed over, such as a key given twice, is among the documents
    without the parts at fault, so that its other faults show in the same run. `unread` are the
    files of which nothing could be made: references to their ids are not to be called unknown.
    `photos` are the paths of pictures, which are not read.
    """

    documents: tuple[Document, ...]
    diagnostics: tuple[Diagnostic, ...]
    unread: tuple[Source, ...] = ()
    photos: frozenset[str] = frozenset()


def read_documents(tree: FileTree, on_progress: Callable[[int, int], None] | None = None) -> Loaded:
    """Read all files of `tree`; `on_progress` is told how many of how many are done."""
    found = discover(tree.paths())
    documents: list[Document] = []
    unread: list[Source] = []
    problems = list(found.diagnostics)
    again = partial(_text_again, tree)
    for done, source in enumerate(found.sources, start=1):
        document, faults = read_document(tree, source, again)
        problems.extend(faults)
        if document is None:
            unread.append(source)
        else:
            documents.append(document)
        if on_progress is not None:
            on_progress(done, len(found.sources))
    forget_lines()
    return Loaded(
        documents=tuple(documents),
        diagnostics=tuple(in_reading_order(problems)),
        unread=tuple(unread),
        photos=found.photos,
    )


def read_document(
    tree: FileTree, source: Source, again: Callable[[str], str] | None = None
) -> tuple[Document | None, tuple[Diagnostic, ...]]:
    """One file as a document, or None, and what is wrong with its text.

    With `again`, which gives the text of a path once more, the document does not hold it.
    """
    try:
        raw = tree.read(source.path)
    except (OSError, UnreadableFileError) as error:
        why = getattr(error, "strerror", None) or str(error)
        unreadable = fault_of_file(
            source.path,
            rule="unreadable-file",
            message=f"the file cannot be read: {why}",
            expected="a plain file",
            remedy="replace it with a plain file that can be read, or remove it",
        )
        return None, (unreadable,)
    return parse_document(source, raw, again)


def _text_again(tree: FileTree, path: str) -> str:
    """The text of a file that was in order; nothing where that has changed since."""
    try:
        return decode(tree.read(path), path)[0] or ""
    except (OSError, UnreadableFileError):
        return ""


def parse_document(
    source: Source, raw: bytes, again: Callable[[str], str] | None = None
) -> tuple[Document | None, tuple[Diagnostic, ...]]:
    """The document in the bytes of one file, or None, and what is wrong with the text.

    Whatever goes wrong is told of this file, so that the others are still read.
    """
    try:
        text, problems = decode(raw, source.path)
        if text is None:
            return None, problems
        try:
            value = accept(text)
        except RefusedError:
            # Imported when the first file is refused: a site without faults never pays for ruamel.
            from ledger.files.yaml_slow import explain  # noqa: PLC0415

            explained = explain(text, source.path)
            value = explained.value
            problems += explained.diagnostics
        if value is None:
            return None, problems
        document = Document(
            kind=source.kind,
            path=source.path,
            ident=source.ident,
            value=value,
            read=again if again is not None and not problems else lambda _: text,
            digest=content_hash(source.path.encode() + b"\0" + raw),
        )
    except Exception as error:  # noqa: BLE001 - the guard around one file
        return None, (program_fault(source.path, error),)
    return document, problems
