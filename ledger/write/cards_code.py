"""An address as a QR code, drawn as one path (ISO/IEC 18004)."""

import segno

QUIET = 4
"""Modules of white that a reader needs on every side (ISO/IEC 18004)."""


def code_path(address: str, size: float) -> str:
    """The dark modules of the code for an address, as SVG path data `size` wide, margin included.

    Error correction M stands a scratch or a drop of oil: about 15 % may be lost.
    """
    rows = matrix(address)
    module = size / (len(rows) + 2 * QUIET)
    drawn = []
    for down, row in enumerate(rows):
        across = 0
        while across < len(row):
            length = 0
            while across + length < len(row) and row[across + length]:
                length += 1
            if length:
                x, y = (across + QUIET) * module, (down + QUIET) * module
                drawn.append(
                    f"M{x:.3f} {y:.3f}h{length * module:.3f}v{module:.3f}h{-length * module:.3f}z"
                )
            across += max(1, length)
    return "".join(drawn)


def matrix(address: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of the code, dark ones true, without the margin."""
    code = segno.make_qr(address, error="m", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix)
