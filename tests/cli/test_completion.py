"""`tunnelbook completion`: scripts that a shell can read, with every command in them."""

import subprocess

import pytest
from tools import find_tool

from ledger.cli.main import SUMMARIES


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_the_script_is_in_order_and_knows_every_command(tunnelbook, tmp_path, shell):
    assert tunnelbook("completion", shell) == 0
    for name in SUMMARIES:
        assert name in tunnelbook.out
    program = find_tool(shell)
    script = tmp_path / "completion"
    script.write_text(tunnelbook.out)
    ran = subprocess.run([program, "-n", script], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")


def test_bash_completes_a_command_and_an_option(tunnelbook, tmp_path):
    bash = find_tool("bash")
    tunnelbook("completion", "bash")
    (tmp_path / "script").write_text(tunnelbook.out)
    ask = f"""
    source {tmp_path}/script
    words() {{ COMP_WORDS=(tunnelbook "$@"); COMP_CWORD=$(($# )); COMPREPLY=(); "$(complete -p tunnelbook | sed 's/.*-F \\([^ ]*\\).*/\\1/')" tunnelbook; echo "${{COMPREPLY[@]}}"; }}
    words tu
    words check --str
    """
    ran = subprocess.run([bash, "-c", ask], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["tune", "--strict"], ran
