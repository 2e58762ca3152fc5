"""The pocket page: one file with everything in it, for a phone without a network.

`render` puts the payload, the style and the scripts into one HTML text. The scripts are plain,
share one scope and are joined in the order of `SCRIPTS`, each using only what stands before it:

    statistics   exact sums, normal and t distributions      } the numbers, held to
    wander       a line whose residuals go together          } ledger.compute by shared vectors
    rounding     how many digits are shown                   }
    speed, band  speeds from counts and taps; the verdict    }
    session      what to set next, and when to stop          }
    yaml         a visit as text                             } no document, no storage
    instants     the site's local time                       }
    readings     which fields a reading asks for             }
    unsent       what was ticked and typed, and its age      }
    days         the walk of the day, of all that the page knows
    rounds       one answer for all that is only looked at   }
    visit        unsent work becomes a visit or problems     }
    store        unsent work in the phone's own storage
    elements     making elements; text only ever as text
    tachometer   tapping
    tuning       set, count, set again
    forms        fields of readings, findings, meters
    answers      one place of a task: done, not done, read
    walk         due work by station
    sending      what is open; the visit's text: share, copy, download
    start        puts the page together

Nothing is fetched and nothing else may run: the Content-Security-Policy names the hash of the
style and of the script and allows no other source.

`published` adds what keeps the page on the phone where it comes from a server. Its icon is a list
with its boxes, drawn here; no picture of equipment.
"""

import base64
import hashlib
import html
import json
import struct
import zlib
from pathlib import Path
from typing import Any

from ledger.files.book_files import MARKER
from ledger.files.schemas import BASE_URI, shipped_schemas
from ledger.filing import fields
from ledger.model.readings import KEYS_OF_READING, READINGS
from ledger.model.site import Units
from ledger.pocket.payload import Round

SCRIPTS = (
    "statistics wander rounding speed band session yaml instants readings unsent days rounds "
    "visit store elements tachometer tuning forms answers walk sending start"
).split()


# What a page has around it: further scripts, what its policy allows, and links.
_ALONE = ((), ("img-src data:",), "'none'", '<link rel="icon" href="data:,">')

_ON_A_SERVER = (
    ("worker",),
    ("img-src 'self' data:", "manifest-src 'self'", "worker-src 'self'"),
    "own-worker",
    '<link rel="manifest" href="@">\n<link rel="icon" href="icon-192.png">',
)

_ASSETS = Path(__file__).resolve().parent / "assets"

_LIMITS = "minimum maximum exclusiveMinimum enum default maxLength".split()


def render(walk: Round, manifest: str = "") -> str:
    """The page as HTML text; the same payload gives the same bytes.

    With the name of a `manifest` it is one for a server, as `published` makes it.

    Raises:
        ValueError: a number of the payload is not finite.
        FileNotFoundError: the schemas are not where `ledger.files.schemas` looks.
    """
    style = asset("round.css")
    further, sources, trusted, links = _ON_A_SERVER if manifest else _ALONE
    kinds = f"const READING_KINDS = {_for_script(json.dumps(reading_kinds(), ensure_ascii=False))};"
    scripts = (asset(f"{name}.js") for name in (*SCRIPTS, *further))
    script = "\n".join(['"use strict";', kinds, *scripts])
    policy = "; ".join(
        [
            "default-src 'none'",
            f"script-src '{_source_hash(script)}'",
            f"style-src '{_source_hash(style)}'",
            *sources,
            "base-uri 'none'",
            "form-action 'none'",
            "require-trusted-types-for 'script'",
            f"trusted-types {trusted}",
        ]
    )
    parts = {
        "policy": html.escape(policy),
        "title": html.escape(f"Pocket page: {walk.site}, walk of {walk.as_of.isoformat()}"),
        "icon": links.replace("@", html.escape(manifest)),
        "style": style,
        "round": _for_script(walk.to_json()),
        "fields": _for_script(json.dumps(entry_fields(), ensure_ascii=False)),
        "script": script,
    }
    pieces = asset("round.html").split("@@")
    # Every other piece is a name. Filled in one pass, so text that looks like a name stays text.
    return "".join(parts[piece] if number % 2 else piece for number, piece in enumerate(pieces))


def entry_fields() -> dict[str, dict[str, Any]]:
    """Label, type and limits of each field of an entry, from the schema of visits.

    What is typed is held to the limits of `tunnelbook check`, without stating them twice.
    """
    shared = shipped_schemas().by_uri[f"{BASE_URI}common.schema.json"]["$defs"]
    return {
        name: {"label": fields.label_of(name), **_limits(stated, shared)}
        for name, stated in fields.entry_fields().items()
    }


def _limits(stated: dict[str, Any], shared: dict[str, Any]) -> dict[str, Any]:
    whole = shared.get(stated.get("$ref", "").rpartition("/")[2], {}) | stated
    kept = {name: whole[name] for name in _LIMITS if name in whole}
    return {"type": whole.get("type", "string"), **kept}


def reading_kinds() -> dict[str, dict[str, Any]]:
    """Title of each kind of reading, the keys of which one holds it, and what is asked for it.

    A speed and a setting are asked for in ways of their own.
    """
    titles = {"speed": "Speed", "setting": "Setting of the drive"}
    kinds: dict[str, dict[str, Any]] = {
        word: {"title": title, "keys": KEYS_OF_READING[word]} for word, title in titles.items()
    }
    for kind in READINGS:
        kinds[kind.word] = {"title": kind.title, "keys": kind.keys}
        for units in Units:
            group = fields.group_of(kind, units)
            form = {"fields": [*group.required, *group.optional], "required": group.required}
            kinds[kind.word][units] = form
    return kinds


def asset(name: str) -> str:
    return (_ASSETS / name).read_text(encoding="utf-8")


def _source_hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


def _for_script(json_text: str) -> str:
    """JSON that no HTML parser can take for the end of its script element."""
    return json_text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


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


_LIST = (
    "................",
    "................",
    "..###...........",
    "..###.########..",
    "..###...........",
    "................",
    "..###...........",
    "..#.#.########..",
    "..###...........",
    "................",
    "..###...........",
    "..#.#.########..",
    "..###...........",
    "................",
    "................",
    "................",
)

_GROUND, _INK = b"\x1d\x4f\x9e", b"\xff\xff\xff"


def icon(size: int) -> bytes:
    """A square PNG of two colours (W3C PNG, third edition: palette, 8 bits, no filter)."""
    cells = len(_LIST)
    rows = (
        bytes(_LIST[y * cells // size][x * cells // size] == "#" for x in range(size))
        for y in range(size)
    )
    header = struct.pack(">IIBBBBB", size, size, 8, 3, 0, 0, 0)
    pixels = zlib.compress(b"".join(b"\0" + row for row in rows), 9)
    chunks = ((b"IHDR", header), (b"PLTE", _GROUND + _INK), (b"IDAT", pixels), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*one) for one in chunks)


def _chunk(kind: bytes, held: bytes) -> bytes:
    return struct.pack(">I", len(held)) + kind + held + struct.pack(">I", zlib.crc32(kind + held))
