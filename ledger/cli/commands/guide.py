"""`tunnelbook guide`: what people come to do, part by part."""

import argparse

from ledger.cli.arguments import arg, command
from ledger.cli.command import give, known


def _guide(parsed: argparse.Namespace) -> int:
    from ledger.site.guide import TITLE, parts

    found = parts()
    if parsed.part is not None:
        titles = {title.lower(): title for title in found}
        title = titles[known(parsed.part.lower(), titles, "part of the guide")]
        found = {title: found[title]}
    texts = (f"{title}\n{'=' * len(title)}\n\n{text}\n" for title, text in found.items())
    answer = "\n".join(texts)
    if TITLE in found:
        answer += '\nOne part alone: tunnelbook guide "A visit"\n'
    give(parsed, lambda: answer, lambda: found)
    return 0


COMMANDS = {
    "guide": command(
        _guide,
        "Print a short guide: the first morning, a visit, a tuning session, a pull request, an "
        "audit, many sites, and other programs.",
        """\
  tunnelbook guide | less
  tunnelbook guide "a visit"
""",
        arg("part", "PART", "one part alone, by its title", nargs="?"),
    )
}
