"""`tunnelbook check`: everything that is wrong with a site's files, in one run."""

import argparse
import os
import sys

from ledger.cli.command import Failure, add_as_of, add_site_position, open_site

DESCRIPTION = "Say everything that is wrong with a site's files: file, line, words and remedy."

EXAMPLES = """\
examples:
  tunnelbook check                      the site in this folder
  tunnelbook check --strict             warnings count too
  tunnelbook check --format github      as annotations of a pull request
  tunnelbook check --format sarif > check.sarif

Errors are faults of form or of reference. Warnings are what a foreman would
ask about; they do not fail the check unless --strict is given.
"""


FORMATS = ("text", "json", "github", "sarif", "gitlab")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument("--format", choices=FORMATS, default="text", help="default: text")
    parser.add_argument("--strict", action="store_true", help="exit 1 on warnings too")
    parser.add_argument("--errors-only", action="store_true", help="leave the warnings out")


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.words import count_faults, format_count  # noqa: PLC0415
    from ledger.cli.diagnostics_forms import render  # noqa: PLC0415
    from ledger.files.names import SCHEMAS  # noqa: PLC0415
    from ledger.filing.new_site import stale_schemas  # noqa: PLC0415
    from ledger.site.pipeline import check  # noqa: PLC0415

    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    found = check(site.loaded, site.as_of)
    if parsed.errors_only:
        found = tuple(diagnostic for diagnostic in found if diagnostic.is_error)
    text = render(found, parsed.format, color=_wants_color())
    if text:
        print(text, end="" if text.endswith("\n") else "\n")
    errors = [diagnostic for diagnostic in found if diagnostic.is_error]
    if parsed.format == "text":
        counts = [format_count(site.loaded.file_count, "file"), count_faults(errors, "error")]
        if not parsed.errors_only:
            warnings = (diagnostic for diagnostic in found if not diagnostic.is_error)
            counts.append(count_faults(warnings, "warning"))
        print(", ".join(counts))
        sys.stdout.flush()
        if stale_schemas(site.root):
            sys.stderr.write(
                f"the schemas in {site.root}/{SCHEMAS}, by which an editor explains keys, are of "
                f"another version; renew them with `tunnelbook init {site.root} --renew-schemas`\n"
            )
    if site.loaded.ledger is None and not found:
        raise Failure(f"no site could be read in {site.root}")
    return 1 if errors or (parsed.strict and found) else 0


def _wants_color() -> bool:
    """Colour only for a terminal, and never where NO_COLOR is set (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")
