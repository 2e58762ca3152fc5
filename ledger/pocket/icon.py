"""The icon of the phone's page: a list with its boxes, drawn here; no picture of equipment."""

import struct
import zlib

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
