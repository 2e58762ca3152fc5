"""Faults of form that one slip of the hand explains: `42,5` in braces is two values to YAML."""

from dataclasses import replace

from ledger.files.diagnostics import Diagnostic, count_of, in_reading_order
from ledger.files.document import Document
from ledger.files.schema_check import explain
from ledger.files.schemas import Schemas
from ledger.files.slips import MAX_MENDED_FAULTS, find_slip, in_place_of
from ledger.files.yaml_fast import RefusedError, accept

# A file with more faults was not mistyped: it is of another form altogether.
_MOST_FAULTS = 30


def explain_with_slips(document: Document, schemas: Schemas) -> list[Diagnostic]:
    """Every fault of `document`, a slip in the place of the faults that are gone without it."""
    found = explain(document, schemas)
    if count_of(found) > _MOST_FAULTS:
        return found
    for line in sorted({one.position.line for one in found})[:MAX_MENDED_FAULTS]:
        here = sum(one.position.line == line for one in found)

        def faults_left(text: str) -> list[Diagnostic] | None:
            try:
                value = accept(text)
            except RefusedError:
                return None
            return explain(replace(document, value=value, text=text), schemas)

        def is_better(
            text: str, line: int = line, here: int = here, total: int = len(found)
        ) -> bool:
            left = faults_left(text)
            if left is None:
                return False
            still = [one for one in left if one.position.line == line]
            # Text in quotes where no text may stand is no cure.
            is_no_cure = any(one.rule == "wrong-type" for one in still)
            return len(left) < total and len(still) < here and not is_no_cure

        slip = find_slip(document.text, document.path, [line], is_better)
        if slip is not None:
            found = in_place_of(slip, found, faults_left(slip.text) or ())
    return in_reading_order(found)
