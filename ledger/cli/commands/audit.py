"""`tunnelbook audit`: whether the record was kept as its rules say, from all of git's history."""

import argparse

from ledger.cli.command import Failure, add_site_position, print_json, site_root

DESCRIPTION = (
    "Walk all of history and say what was edited, deleted, re-dated, filed late or by somebody "
    "else, approved without a second person, rewritten, or rendered falsely."
)

EXAMPLES = """\
examples:
  tunnelbook audit                              all of history
  tunnelbook audit --since 2026-10-01           what was committed from that day on
  tunnelbook audit --since v3                   what was committed after a tag
  tunnelbook audit --head 4f0c...               with the full id of the head of last time
  tunnelbook audit --pages                      also render every book ever committed
  tunnelbook audit --all                        one line an irregularity, not one a commit

SSH signatures are verified with the keys under signing_keys of site.yaml, as
they stood before each commit; other signatures are counted, and prove nothing.

Exit status: 0 clean; 1 an irregularity was found, or history is not whole
here: a shallow clone, or a site that was moved from another folder.
"""


FORMATS = ("text", "markdown", "json")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    parser.add_argument(
        "--since",
        metavar="REV|DATE",
        help="report only what was committed after a revision, or from a day on",
    )
    parser.add_argument(
        "--head", metavar="OID", help="full id of a head written down at an earlier audit"
    )
    parser.add_argument(
        "--pages", action="store_true", help="compare the book at every commit that touched it"
    )
    parser.add_argument(
        "--all", action="store_true", help="list each irregularity singly, with the texts of each"
    )
    parser.add_argument("--format", choices=FORMATS, default="text", help="default: text")


def run(parsed: argparse.Namespace) -> int:
    from ledger.history.git import GitProblem  # noqa: PLC0415
    from ledger.history.log import History  # noqa: PLC0415
    from ledger.history.repository import open_repository  # noqa: PLC0415

    try:
        with History(open_repository(site_root(parsed.site))) as history:
            # Git lists the commits while the rest of the program is imported.
            from ledger.proof.audit import Verdict, audit  # noqa: PLC0415

            found = audit(
                history, since=parsed.since, remembered=parsed.head, every_book=parsed.pages
            )
    except GitProblem as problem:
        raise Failure(str(problem)) from problem
    if parsed.format == "json":
        from ledger.proof.audit_page import audit_rows  # noqa: PLC0415

        print_json(audit_rows(found))
    else:
        from ledger.book import terminal  # noqa: PLC0415
        from ledger.proof.audit_page import audit_page  # noqa: PLC0415
        from ledger.proof.review_page import markdown_alone  # noqa: PLC0415

        render = markdown_alone if parsed.format == "markdown" else terminal.render
        print(render(audit_page(found, every=parsed.all, site=parsed.site or "")), end="")
    return 0 if found.verdict is Verdict.CLEAN else 1
