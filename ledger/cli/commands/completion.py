"""`tunnelbook completion`: a script by which a shell completes commands, options and ids."""

import argparse

from ledger.cli.arguments import arg, command

# Each asks the program what may stand next; see `cli/candidates.py`.
_SCRIPTS = {
    "bash": """\
_tunnelbook() {
    local cur=${COMP_WORDS[COMP_CWORD]} found IFS=$'\\n'
    [ "$cur" = "=" ] && cur=""
    found=$(tunnelbook complete "${COMP_WORDS[@]:1:COMP_CWORD-1}" "$cur" 2>/dev/null | cut -f1)
    if [ "$found" = ":files" ]; then
        compopt -o filenames
        COMPREPLY=($(compgen -f -- "$cur"))
    else
        COMPREPLY=($found)
    fi
}
complete -F _tunnelbook tunnelbook
""",
    "zsh": """\
#compdef tunnelbook
_tunnelbook() {
    local -a found named
    found=("${(@f)$(tunnelbook complete "${(@)words[2,CURRENT]}" 2>/dev/null)}")
    if [[ $found[1] == ":files" ]]; then
        _files
        return
    fi
    local line
    for line in $found; do
        named+=("${${line%%$'\\t'*}//:/\\\\:}:${${line#*$'\\t'}}")
    done
    _describe tunnelbook named
}
compdef _tunnelbook tunnelbook
""",
    "fish": """\
function __tunnelbook
    set -l words (commandline -opc)
    set -l found (tunnelbook complete $words[2..] (commandline -ct) 2>/dev/null)
    if test "$found" = ":files"
        __fish_complete_path (commandline -ct)
    else
        printf '%s\\n' $found
    end
end
complete -c tunnelbook -f -a '(__tunnelbook)'
""",
}


def _complete(parsed: argparse.Namespace) -> int:
    print(_SCRIPTS[parsed.shell], end="")
    return 0


COMMANDS = {
    "completion": command(
        _complete,
        "Print a completion script for a shell. It completes commands, options and what the site "
        "calls its machines, tasks, people and visits.",
        """\
  tunnelbook completion bash > ~/.local/share/bash-completion/completions/tunnelbook
  tunnelbook completion zsh > ~/.zfunc/_tunnelbook
  tunnelbook completion fish > ~/.config/fish/completions/tunnelbook.fish
""",
        arg("shell", None, ", ".join(_SCRIPTS), choices=tuple(_SCRIPTS)),
    )
}
