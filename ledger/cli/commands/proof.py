"""`tunnelbook review` and `audit`: what git's history says of a branch, and of the whole record."""

import argparse
from collections.abc import Callable
from contextlib import ExitStack
from typing import TYPE_CHECKING

from ledger.cli.arguments import SITE, SITE_OPTION, arg, command, flag
from ledger.cli.command import failing_on, print_json, site_root

if TYPE_CHECKING:
    from ledger.book.blocks import Page


def _review(parsed: argparse.Namespace) -> int:
    from ledger.history.git import GitProblem
    from ledger.history.repository import open_repository
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.review_table import review_rows

    with failing_on(GitProblem):
        repository = open_repository(site_root(parsed.site))
        found = review(repository, parsed.base, parsed.head, merged_at=parsed.clock(None))
    _print(parsed.format, lambda: review_page(found), lambda: review_rows(found))
    return 1 if found.breaches else 0


def _audit(parsed: argparse.Namespace) -> int:
    from ledger.history.git import GitProblem
    from ledger.history.log import History
    from ledger.history.repository import open_repository

    with ExitStack() as stack:
        stack.enter_context(failing_on(GitProblem))
        known = () if parsed.head is None else (parsed.head,)
        repository = open_repository(site_root(parsed.site))
        history = stack.enter_context(History(repository, remembered=known))
        # Git lists the commits while the rest of the program is imported.
        from ledger.proof.audit import Verdict, audit

        found = audit(history, since=parsed.since, remembered=parsed.head, every_book=parsed.pages)
    from ledger.proof.audit_page import audit_page, audit_rows

    _print(
        parsed.format,
        lambda: audit_page(found, every=parsed.all, site=parsed.site or ""),
        lambda: audit_rows(found),
    )
    return 0 if found.verdict is Verdict.CLEAN else 1


def _print(form: str, page: "Callable[[], Page]", rows: Callable[[], object]) -> None:
    if form == "json":
        print_json(rows())
        return
    from ledger.book import terminal
    from ledger.proof.review_page import markdown_alone

    render = markdown_alone if form == "markdown" else terminal.render
    print(render(page()), end="")


_FORMAT = arg(
    "--format", None, "default: text", choices=("text", "markdown", "json"), default="text"
)

COMMANDS = {
    "review": command(
        _review,
        "Say what a branch would change: settings with prediction, evidence and "
        "policy, visits added, old records touched, tasks loosened. Read from git's commits, never "
        "from the working copy.",
        """\
  tunnelbook review main                        what HEAD would change on main
  tunnelbook review origin/main my-branch
  tunnelbook review main --format markdown      for a pull request's comment

Judged is the merge with the tip of BASE as if it were made now, by the same
judge as in `tunnelbook audit`: what that would accuse once merged is told here.
Exit status: 0 no breach; 1 a rule is broken or a filed record was touched.
""",
        arg("base", "BASE", "branch, tag or commit to merge into"),
        arg("head", "HEAD", "what is to be merged; default HEAD", nargs="?", default="HEAD"),
        SITE_OPTION,
        _FORMAT,
    ),
    "audit": command(
        _audit,
        "Walk all of history and say what was edited, deleted, re-dated, filed late "
        "or by somebody else, approved without a second person, rewritten, or rendered falsely.",
        """\
  tunnelbook audit                              all of history
  tunnelbook audit --since 2026-10-01           what was committed from that day on
  tunnelbook audit --since v3                   what was committed after a tag
  tunnelbook audit --head 4f0c...               with the full id of the head of last time
  tunnelbook audit --pages                      also render every book ever committed
  tunnelbook audit --all                        one line an irregularity, not one a commit

Judged is what came to the line of the head, when it came there: by a commit,
a merge or a squash. SSH signatures are verified with the keys under
signing_keys of site.yaml, as they counted before that; other signatures are
counted, and prove nothing.

Exit status: 0 clean; 1 an irregularity was found, or history is not whole
here: a shallow clone, or a site that was moved from another folder.
""",
        SITE,
        arg(
            "--since",
            "REV|DATE",
            "report only what was committed after a revision, or from a day on",
        ),
        arg("--head", "OID", "full id of a head written down at an earlier audit"),
        flag("--pages", "compare the book at every commit that touched it"),
        flag("--all", "list each irregularity singly, with the texts of each"),
        _FORMAT,
    ),
}
