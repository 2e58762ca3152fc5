"""`tunnelbook completion`: a script that completes commands and options in a shell."""

import argparse

DESCRIPTION = "Print a completion script for a shell."

EXAMPLES = """\
examples:
  tunnelbook completion bash > ~/.local/share/bash-completion/completions/tunnelbook
  tunnelbook completion zsh > ~/.zfunc/_tunnelbook
"""


SHELLS = ("bash", "zsh", "tcsh")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS, help=", ".join(SHELLS))


def run(parsed: argparse.Namespace) -> int:
    import shtab  # noqa: PLC0415 - only this command pays for it

    from ledger.cli.main import whole_parser  # noqa: PLC0415

    print(shtab.complete(whole_parser(), shell=parsed.shell))
    return 0
