import pytest

from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document


@pytest.fixture
def read():
    """Reads text as a file of one kind."""

    def read_text(text, kind=Kind.VISIT):
        document, faults = parse_document(
            Source(kind=kind, path="f.yaml", ident="f"), text.encode()
        )
        assert not faults
        return document

    return read_text
