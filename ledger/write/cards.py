"""Drive cards on one page that prints on A4 and on Letter: two across, four down.

The page is one file: its style is allowed by its hash, and nothing else is loaded.
"""

import base64
import hashlib
from collections.abc import Sequence

from ledger.report.cards import DriveCard
from ledger.write.cards_svg import HEIGHT_MM, WIDTH_MM, render
from ledger.write.escape import html_text
from ledger.write.marker import MARKER

# No paper size is named, so the printer's own is used; the cards fit either with this margin.
_STYLE = f"""
body {{ margin: 8mm; background: #ffffff; color: #000000; font: 11pt system-ui, sans-serif; }}
h1 {{ font-size: 14pt; }}
p {{ max-width: 42em; }}
ul {{ margin: 0; padding: 0; list-style: none; font-size: 0; orphans: 1; widows: 1; }}
li {{ display: inline-block; margin: 0 3mm 3mm 0; break-inside: avoid; vertical-align: top; }}
li svg {{ display: block; width: {WIDTH_MM}mm; height: {HEIGHT_MM}mm; }}
@page {{ margin: 10mm; }}
@media print {{
  body {{ margin: 0; }}
  .screen {{ display: none; }}
  ul {{ width: {2 * WIDTH_MM + 6}mm; margin-right: -6mm; }}
}}
"""


def render_page(cards: Sequence[DriveCard], *, site_name: str) -> str:
    """The page; the same cards give the same bytes."""
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    items = "".join(f"<li>{_inline(card)}</li>\n" for card in cards)
    return f"""\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<!-- {MARKER} -->
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; \
style-src 'sha256-{digest}'; form-action 'none'; base-uri 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>Drive cards · {html_text(site_name)}</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<div class="screen">
<h1>Drive cards · {html_text(site_name)}</h1>
<p>Print at full size (100 %) and cut along the dashed lines. A card is out of date once its
register number is no longer the beginning of the SHA-256 of the drive's file in setpoints/.
It tells what was approved, not what the drive is set to now.</p>
</div>
<ul>
{items}</ul>
</main>
</body>
</html>
"""


def _inline(card: DriveCard) -> str:
    """The card's picture without the comment that marks it as a file of its own."""
    return render(card).replace(f"<!-- {MARKER} -->\n", "").rstrip("\n")
