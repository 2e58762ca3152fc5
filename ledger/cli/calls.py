"""What the start of the program and the parser of a call both have to know."""

#: Exit status where something was found wrong.
FOUND = 1

#: Exit status where the call or a file could not be used.
FAILED = 2

#: Commands whose answer is kept for the next time, unless the option says no.
KEPT_COMMANDS = ("build", "check", "due", "show")

NO_STORE = "--no-store"

SITE_OPTIONS = ("-C", "--site")

#: Names the site's folder where no word of the call does.
SITE_VARIABLE = "TUNNELBOOK_SITE"


def command_first(words: list[str]) -> list[str]:
    """The words with the site's options that stand before the command put behind it."""
    before = 0
    while before < len(words) and words[before].startswith(SITE_OPTIONS):
        # `-C DIR` and `--site DIR` are two words, `--site=DIR` is one.
        before += 2 if words[before] in SITE_OPTIONS else 1
    return [*words[before : before + 1], *words[:before], *words[before + 1 :]]
