"""From the files of a site to a checked ledger."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date

from ledger.files.diagnostics import Diagnostic, shortened
from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.files.reading import Loaded, read_documents, without_collecting
from ledger.files.schemas import accepts_lines, check_document
from ledger.files.tree import FileTree
from ledger.filing.migrations import FORMAT, can_be_moved, other_format
from ledger.model.build import build_ledger
from ledger.model.ledger import Ledger
from ledger.values import dataclass

Progress = Callable[[int, int], None]

_FORM_OF_WORDS = frozenset({"bad-format", "bad-key"})


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedSite:
    """What a site's files say, and everything that is wrong with them.

    `ledger` is as complete as the faults allow, and None without a usable site.yaml. Only a
    ledger without errors is rendered. `documents` are those in order, `file_count` counts all, and
    `left_out` are the kinds of the others.
    """

    ledger: Ledger | None
    documents: Mapping[str, Document]
    file_count: int
    left_out: frozenset[Kind]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def has_errors(self) -> bool:
        return any(diagnostic.is_error for diagnostic in self.diagnostics)


def load(tree: FileTree, on_progress: Progress | None = None) -> LoadedSite:
    """Read, hold against the schemas, and link every file of a site."""
    with without_collecting():
        return _loaded(read_documents(tree, on_progress))


def _loaded(read: Loaded) -> LoadedSite:
    moved = _in_another_format(read.documents)
    if moved is not None:
        # Its keys are those of another version: to find fault with them would help nobody.
        return LoadedSite(
            ledger=None,
            documents={},
            file_count=len(read.documents) + len(read.unread),
            left_out=frozenset(),
            diagnostics=(moved,),
        )
    found = list(read.diagnostics)
    sound: list[Document] = []
    refused: list[Document] = []
    # What is left of a file with a fault in its text is looked at, and counts for nothing.
    torn = {diagnostic.position.path for diagnostic in read.diagnostics}
    known: set[int] = set()
    for document in read.documents:
        wrong = [] if accepts_lines(document, known) else check_document(document)
        if wrong or document.path in torn:
            found.extend(wrong)
            refused.append(document)
        else:
            sound.append(document)
    ledger, between = build_ledger(sound, read.unread, refused, read.photos)
    # A word that its schema refuses is not called unknown as well; but where the files know what
    # was meant, they know it better than the form.
    meant = {_place(one): one.nearest for one in between if one.nearest}
    found = [one for one in found if not _is_known_better(one, meant.get(_place(one), ""))]
    judged = {_place(one) for one in found}
    found.extend(one for one in between if _place(one) not in judged)
    return LoadedSite(
        ledger=ledger,
        documents={document.path: document for document in sound},
        file_count=len(read.documents) + len(read.unread),
        left_out=frozenset({d.kind for d in refused} | {s.kind for s in read.unread}),
        diagnostics=tuple(shortened(found)),
    )


def _place(fault: Diagnostic) -> tuple[str, int, int]:
    return fault.position.path, fault.position.line, fault.position.column


def _is_known_better(fault: Diagnostic, meant: str) -> bool:
    """Whether `meant`, a word of the files, says more than what the form of the word gave."""
    return bool(meant) and fault.rule in _FORM_OF_WORDS and not fault.nearest.startswith(meant)


def _in_another_format(documents: Iterable[Document]) -> Diagnostic | None:
    """The one thing to say of a site that is to be moved, or is of a newer program."""
    site = next((one for one in documents if one.kind is Kind.SITE), None)
    stated = site.value.get("format") if site and isinstance(site.value, dict) else None
    if site is None or type(stated) is not int or stated == FORMAT:
        return None
    if stated < FORMAT and not can_be_moved(stated):
        return None
    return site.diagnose(
        ("format",),
        rule="another-format",
        message=other_format(stated),
        expected=f"format {FORMAT}",
        remedy="run `tunnelbook migrate`, which makes one commit"
        if stated < FORMAT
        else "install a newer version of tunnelbook",
    )


def check(loaded: LoadedSite, as_of: date) -> tuple[Diagnostic, ...]:
    """Everything that is wrong, and what a foreman would ask about, as seen on a day."""
    if loaded.ledger is None:
        return loaded.diagnostics
    # Most commands load a site and are not asked what a foreman would say.
    from ledger.rules.rules import foreman_warnings  # noqa: PLC0415

    # What a file at fault holds may be something else than it seems: nobody is asked about it.
    at_fault = {one.position.path for one in loaded.diagnostics if one.is_error}
    kinds = {loaded.documents[path].kind for path in at_fault & loaded.documents.keys()}
    warnings = foreman_warnings(loaded.ledger, loaded.documents, as_of, loaded.left_out | kinds)
    questions = [one for one in warnings if one.position.path not in at_fault]
    return tuple(shortened([*loaded.diagnostics, *questions]))
