"""`tunnelbook init`: a small working site, or machines of a kind for one that is there."""

import argparse
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.clock import Clock
from ledger.cli.command import Failure, OpenSite, known, open_site

if TYPE_CHECKING:
    from ledger.filing.addition import Added
    from ledger.filing.new_site import Founder
    from ledger.filing.starter import StarterMachine


DESCRIPTION = (
    "Start a small working site that passes check, or add machines with their points and tasks."
)

EXAMPLES = """\
examples:
  tunnelbook init mywash                            one brush, three tasks, no visit yet
  tunnelbook init mywash --with conveyor wrap wrap side-brush pump-stand
  tunnelbook init mywash --with blower              add to the site that is there
  tunnelbook init mywash --renew-schemas            after an upgrade of this program
  tunnelbook init --list                            the kinds there are

Nothing is ever overwritten: a task or a part that the site has already is kept
as it is. After an interruption say the same again: it writes the rest.
Tasks and intervals are a starting point under the maker's manual.
Only --renew-schemas replaces files: the copies in .schemas/ by which an editor
completes and explains keys. The program itself never reads them.
"""


_ADDRESS = re.compile(r"[^@\s]{1,64}@[^@\s]{1,189}")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", metavar="DIR", help="folder of the site")
    parser.add_argument(
        "--with", dest="kinds", nargs="+", metavar="KIND", default=[], help="machines to add"
    )
    parser.add_argument("--list", action="store_true", help="print the kinds and end")
    parser.add_argument(
        "--renew-schemas",
        action="store_true",
        help="put this version's schemas into .schemas/, for the editor",
    )
    parser.add_argument("--name", default="Our wash", help="name of a new site")
    parser.add_argument(
        "--time-zone",
        metavar="ZONE",
        help="of a new site, by its IANA name; default: this machine's",
    )


def run(parsed: argparse.Namespace) -> int:
    from ledger.files.save import remove_leftovers  # noqa: PLC0415
    from ledger.filing.addition import add_together, end_addition, rest_of_addition  # noqa: PLC0415
    from ledger.filing.starter import starter_kinds  # noqa: PLC0415

    if parsed.list:
        print("\n".join(starter_kinds()))
        return 0
    if parsed.folder is None:
        raise Failure("name the folder of the site, such as `tunnelbook init mywash`")
    root = Path(parsed.folder)
    if root.exists() and not root.is_dir():
        raise Failure(f"`{root}` is a file; name a folder")
    kinds = [known(kind, starter_kinds(), "kind of machine") for kind in parsed.kinds]
    remove_leftovers(root.parent, below=False)
    is_there = (root / "site.yaml").exists()
    if is_there:
        remove_leftovers(root)
    if parsed.renew_schemas:
        if kinds or not is_there:
            raise Failure("--renew-schemas stands alone and takes the folder of a site")
        return _renew_schemas(root)
    if is_there and not kinds:
        raise Failure(
            f"`{root}` holds a site already, and nothing is overwritten; "
            f"add machines with `tunnelbook init {root} --with KIND`"
        )
    if not is_there:
        _refuse_within_a_site(root)
        machines, files = _new(root, parsed, kinds)
        added = _start(root, files)
        _report(open_site(str(root), None, parsed.clock), machines, added, is_there=False)
        return 0
    rest = rest_of_addition(root)
    if rest is None:
        machines, files = _added(root, kinds, parsed.clock)
        added = add_together(root, files)
        _report(open_site(str(root), None, parsed.clock), machines, added, is_there=True)
    else:
        print(
            "An earlier `tunnelbook init --with` was cut short; it is finished now, "
            "and nothing more was added."
        )
        _print_added(root, rest)
    sys.stdout.flush()
    end_addition(root)
    return 0


def _refuse_within_a_site(root: Path) -> None:
    """A site within a site is one that the outer never reads."""
    for outer in root.resolve().parents:
        if (outer / "site.yaml").is_file():
            raise Failure(
                f"`{root}` would lie within the site {outer}; name a folder outside it, "
                f"or add machines to that site with `tunnelbook init {outer} --with KIND`"
            )


def _renew_schemas(root: Path) -> int:
    from ledger.files.names import SCHEMAS  # noqa: PLC0415
    from ledger.filing.new_site import renew_schemas  # noqa: PLC0415

    written = renew_schemas(root)
    for path in written:
        print(f"wrote  {root}/{path}")
    if not written:
        print(f"the schemas in {root}/{SCHEMAS} are those of this version")
    return 0


def _new(
    root: Path, parsed: argparse.Namespace, kinds: Sequence[str]
) -> tuple[Sequence["StarterMachine"], dict[str, str]]:
    from ledger.cli.command import this_installation  # noqa: PLC0415
    from ledger.filing.new_site import new_site, placed  # noqa: PLC0415
    from ledger.filing.tool_pin import tool_pin  # noqa: PLC0415

    machines = placed(kinds, {})
    founder = _founder(root, parsed.time_zone, parsed.clock)
    installed = this_installation()
    tool = tool_pin(installed.direct_url, installed.version)
    return machines, new_site(founder, parsed.name, machines, tool)


def _founder(root: Path, time_zone: str | None, clock: Clock) -> "Founder":
    from zoneinfo import ZoneInfo, available_timezones  # noqa: PLC0415

    from ledger.cli.command import git_user, machine_zone  # noqa: PLC0415
    from ledger.filing.new_site import Founder, person_ident  # noqa: PLC0415

    zone = time_zone or machine_zone()
    zone = known(zone, sorted(available_timezones()), "time zone")
    user = git_user(root if root.is_dir() else Path.cwd())
    ident = person_ident(user.name)
    return Founder(
        ident=ident or "first-person",
        name=user.name if ident else "First person",
        emails=(user.email,) if _ADDRESS.fullmatch(user.email) else (),
        when=clock(ZoneInfo(zone)),
        time_zone=zone,
    )


def _added(
    root: Path, kinds: Sequence[str], clock: Clock
) -> tuple[Sequence["StarterMachine"], dict[str, str]]:
    from ledger.files.names import SCHEMAS  # noqa: PLC0415
    from ledger.filing.new_site import coming_in, placed, schema_copies  # noqa: PLC0415
    from ledger.filing.starter import programme  # noqa: PLC0415
    from ledger.filing.visit_file import schema_base  # noqa: PLC0415

    site = open_site(str(root), None, clock)
    there = site.ledger.machines
    machines = placed(kinds, {ident: machine.station for ident, machine in there.items()})
    base = schema_base(root)
    files = coming_in(programme(machines, schemas=base), site.as_of)
    return machines, files | schema_copies() if base == SCHEMAS else files


def _start(root: Path, files: dict[str, str]) -> "Added":
    """Make the folder of a new site at once, or add to one that is there what it lacks."""
    from ledger.files.save import create_folder, remove_leftovers  # noqa: PLC0415
    from ledger.filing.addition import Added, add_files  # noqa: PLC0415

    if root.is_dir():
        for folder in {(root / path).parent for path in files}:
            remove_leftovers(folder, below=False)
        return add_files(root, files)
    create_folder(root, {path: text.encode() for path, text in files.items()})
    return Added(written=tuple(files))


def _print_added(root: Path, added: "Added") -> None:
    for path in added.written:
        if not path.startswith("."):
            print(f"wrote  {root}/{path}")
    hidden = dict.fromkeys(path.partition("/")[0] for path in added.written if path[0] == ".")
    if hidden:
        print(f"wrote  {', '.join(hidden)} in {root}, for git, its hosts and your editor")
    for path in added.kept:
        if not path.startswith("."):
            print(f"kept   {root}/{path}")
    for path in added.other:
        print(f"kept   {root}/{path}, which reads otherwise than a new one would")


def _report(
    site: OpenSite, machines: Sequence["StarterMachine"], added: "Added", *, is_there: bool
) -> None:
    from ledger.cli import diagnostics_forms  # noqa: PLC0415
    from ledger.filing.tool_pin import TOOL_PIN, names_a_version  # noqa: PLC0415
    from ledger.site.pipeline import check  # noqa: PLC0415

    root = site.root
    _print_added(root, added)
    if machines:
        print(
            "\nPoints, numbers, tasks and intervals are a starting point. Hold each against the "
            "maker's manual,\nand put in what is on the plates of your machines."
        )
    found = [d for d in check(site.loaded, site.as_of) if d.position.path in added.written]
    sys.stderr.write(diagnostics_forms.render(found, "text"))
    if TOOL_PIN in added.written and not names_a_version(
        (root / TOOL_PIN).read_text(encoding="utf-8")
    ):
        print(
            f"\nBefore the jobs of a git host can run, fill in {root}/{TOOL_PIN}:\n"
            "what this program was started from names no version that they could fetch."
        )
    if not is_there:
        print(
            f"\nThe time zone is {site.ledger.site.zone.key}; correct it where that is not "
            f"the site's.\n"
            f"Next: put your own people, hours and line rate into {root}/site.yaml, then\n"
            f"  tunnelbook check {root}\n  tunnelbook build {root}\n  tunnelbook due {root}"
        )
