"""The phone's page for a server: beside it what keeps it on the phone when that is out of reach."""

import hashlib
import json

from ledger.files.book_files import MARKER
from ledger.pocket.icon import icon
from ledger.pocket.page import asset, render
from ledger.pocket.payload import Round

ICON_SIZES = (192, 512)
"""What Chromium asks of a page that can be installed."""

MANIFEST = "manifest.webmanifest"


def published(walk: Round, name: str) -> dict[str, bytes]:
    """Every file by its name, the page under `name`; the same payload gives the same bytes."""
    page = render(walk, manifest=MANIFEST).encode()
    icons = {f"icon-{size}.png": icon(size) for size in ICON_SIZES}
    kept = [name, *(["./"] if name == "index.html" else []), MANIFEST, *icons]
    build = hashlib.sha256(page).hexdigest()[:16]
    worker = (
        f"/* {MARKER} */\nconst BUILD = {json.dumps(build)};\nconst NAMES = {json.dumps(kept)};\n"
        f"{asset('sw.js')}"
    )
    manifest = {
        "name": f"{walk.site}, pocket page",
        "short_name": "Pocket page",
        "start_url": name,
        "scope": "./",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#1d4f9e",
        "icons": [
            {"src": f"icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png"}
            for size in ICON_SIZES
        ],
    }
    manifest_text = json.dumps(manifest, ensure_ascii=False, indent=2)
    return {name: page, "sw.js": worker.encode(), MANIFEST: f"{manifest_text}\n".encode(), **icons}
