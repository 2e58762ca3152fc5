"""What the start of the program and the parser of a call both have to know."""

#: Exit status where the call or a file could not be used.
FAILED = 2

#: Commands whose answer is kept for the next time, unless the option says no.
KEPT_COMMANDS = ("build", "check", "due", "show")

NO_STORE = "--no-store"
