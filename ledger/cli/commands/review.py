"""`tunnelbook review`: what a branch would change, for the second person."""

import argparse

from ledger.cli.command import Failure, add_site_option, print_json, site_root

DESCRIPTION = (
    "Say what a branch would change: settings with prediction, evidence and policy, visits added, "
    "old records touched, tasks loosened. Read from git's commits, never from the working copy."
)

EXAMPLES = """\
examples:
  tunnelbook review main                        what HEAD would change on main
  tunnelbook review origin/main my-branch
  tunnelbook review main --format markdown      for a pull request's comment

Compared is the head with the commit where it and BASE part.
Exit status: 0 no breach; 1 a rule is broken or a filed record was touched.
"""


FORMATS = ("text", "markdown", "json")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("base", metavar="BASE", help="branch, tag or commit to merge into")
    parser.add_argument(
        "head", metavar="HEAD", nargs="?", default="HEAD", help="what is to be merged; default HEAD"
    )
    add_site_option(parser)
    parser.add_argument("--format", choices=FORMATS, default="text", help="default: text")


def run(parsed: argparse.Namespace) -> int:
    from ledger.book import terminal  # noqa: PLC0415
    from ledger.history.git import GitProblem  # noqa: PLC0415
    from ledger.history.repository import open_repository  # noqa: PLC0415
    from ledger.proof.review import review  # noqa: PLC0415
    from ledger.proof.review_page import (  # noqa: PLC0415
        markdown_alone,
        review_page,
    )
    from ledger.proof.review_table import review_rows  # noqa: PLC0415

    try:
        repository = open_repository(site_root(parsed.site))
        found = review(repository, parsed.base, parsed.head)
    except GitProblem as problem:
        raise Failure(str(problem)) from problem
    if parsed.format == "json":
        print_json(review_rows(found))
    else:
        render = markdown_alone if parsed.format == "markdown" else terminal.render
        print(render(review_page(found)), end="")
    return 1 if found.breaches else 0
