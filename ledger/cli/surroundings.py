"""What the machine can tell of its user: the name and address git signs with, and the time zone."""

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.model.site import Site

_ZONE_FOLDER = "zoneinfo/"


@dataclass(frozen=True, slots=True, kw_only=True)
class GitUser:
    """As commits would be signed; empty where git does not know."""

    name: str
    email: str


def git_user(folder: Path) -> GitUser:
    """The name and address that git would sign a commit with in a folder; empty without git.

    Reading configuration runs nothing. The user's own configuration counts here, which the other
    commands keep off.
    """
    from ledger.history.git import git_in  # noqa: PLC0415
    from ledger.history.problem import GitProblem  # noqa: PLC0415

    try:
        git = git_in(folder)
    except GitProblem:
        return GitUser(name="", email="")
    own = {
        name: value for name, value in git.environment.items() if not name.startswith("GIT_CONFIG")
    }
    own |= {name: value for name, value in os.environ.items() if name.startswith("GIT_CONFIG")}
    asked = replace(git, environment=own)

    def said(key: str) -> str:
        return (asked.attempt("config", "--get", key) or b"").decode("utf-8", "replace").strip()

    return GitUser(name=said("user.name"), email=said("user.email"))


def person_of(site: "Site", user: GitUser) -> str:
    """The id of the person of a site whom git knows, by address and else by name; or nothing.

    Nothing also where several have the address and none of them the name.
    """
    name = user.name.casefold()
    people = list(site.people.values())
    by_address = [person for person in people if person.has_address(user.email)]
    by_name = [p for p in by_address or people if name in {p.name.casefold(), p.ident}]
    found = by_address if len(by_address) == 1 else by_name
    return found[0].ident if found else ""


def machine_zone() -> str:
    """The time zone of this machine by its IANA name; Etc/UTC where it does not say."""
    from zoneinfo import available_timezones  # noqa: PLC0415

    link = str(Path("/etc/localtime").resolve())
    for name in (os.environ.get("TZ", "").removeprefix(":"), link.rpartition(_ZONE_FOLDER)[2]):
        if name in available_timezones():
            return name
    return "Etc/UTC"
