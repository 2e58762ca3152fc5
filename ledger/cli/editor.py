"""The site's own names for an editor, kept current beside the schemas that the site has."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import fault_text
from ledger.files.names import SCHEMAS

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger


def renew_editor_schemas(root: Path, ledger: "Ledger") -> None:
    """Write those that differ, in a site that keeps schemas; no command fails for them."""
    folder = root / SCHEMAS
    if not folder.is_dir() or not folder.resolve().is_relative_to(root.resolve()):
        return
    from ledger.files.save import replace_file
    from ledger.site.editor_schemas import editor_schemas

    try:
        for path, text in editor_schemas(ledger).items():
            place, raw = root / path, text.encode()
            if not place.is_file() or place.read_bytes() != raw:
                replace_file(place, raw)
    except OSError as error:
        sys.stderr.write(f"the names for the editor were not updated: {fault_text(error)}\n")
