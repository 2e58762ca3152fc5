"""Hold documents against their schemas: accept fast, and explain only what is not accepted."""

from ledger.files.diagnostics import Diagnostic, program_fault
from ledger.files.document import Document
from ledger.files.schemas import Schemas, shipped_schemas


def check_document(document: Document, schemas: Schemas | None = None) -> list[Diagnostic]:
    """Everything the schema for its kind finds wrong with `document`, in reading order.

    Whatever goes wrong is told of this document, so that the others are still held against theirs.
    """
    against = schemas or shipped_schemas()
    try:
        return _checked(document, against)
    except Exception as error:  # noqa: BLE001 - the guard around one file
        return [program_fault(document.path, error)]


def _checked(document: Document, against: Schemas) -> list[Diagnostic]:
    if against.accepts(document.kind, document.value):
        return []
    # Imported when the first document is refused: a site without faults never pays for it.
    from ledger.files.mending import explain_with_slips  # noqa: PLC0415

    return explain_with_slips(document, against)
