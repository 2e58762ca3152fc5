"""`tunnelbook init` and `migrate`: start a site, add machines to it, move it to a later format."""

import re
import sys
from argparse import Namespace
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli import command as cli
from ledger.cli import environment
from ledger.cli.arguments import arg, command, flag
from ledger.cli.command import Failure, FaultyFiles, OpenSite
from ledger.cli.conversation import someone_is_there
from ledger.cli.into_git import committer
from ledger.files.names import SCHEMAS, SITE_FILE, repository_above
from ledger.files.save import create_folder, remove_leftovers, replace_file
from ledger.filing import migrations
from ledger.history.git import GitProblem, git_in
from ledger.history.new_commit import commit_files
from ledger.history.objects import GitTree
from ledger.history.repository import Repository, open_repository, resolve

if TYPE_CHECKING:
    from ledger.cli.first_morning import Known
    from ledger.filing.new_site import Added


_STARTING_POINT = """
Points, numbers, tasks and intervals are a starting point. Check each against the maker's manual,
and put in what is on the plates of your machines. Lockout sheets name what `energy` in each
machine's file states; write it down before hands go in."""

_ONE_COMMIT = """\
Put the folder under git, all of it in one commit: settings taken over count only with the
commit that starts the site."""

_MOST_NAMED = 20

_ADDRESS = re.compile(r"[^@\s]{1,64}@[^@\s]{1,189}")


_KEEPS_THE_LINE = {"merge.ff": "only", "pull.rebase": "true"}

_AT_THE_HOST = """
The audit only reports what came to the main branch; the git host can refuse it.
Set this there, for that branch:
  GitHub         a rule: require a pull request and the owners' review, block force pushes and
                 deletion, and "Do not allow bypassing the above settings"
  GitLab         protected branch: allowed to push: no one; allowed to merge: maintainers; merge
                 commits, since a fast-forward can swap the sides
  Gitea, Forgejo protected branch: no push, approvals required; merge commits
In each clone, so that no pull swaps the sides of the history and makes main the side branch:
  git config merge.ff only && git config pull.rebase true
A branch is then merged with `git merge --no-ff BRANCH`."""


def _init(parsed: Namespace) -> int:
    from ledger.files.spelling import value_meant
    from ledger.filing.starter import starter_kinds

    if parsed.list:
        print("\n".join(starter_kinds()))
        return 0
    if parsed.site is None:
        raise Failure("name the folder of the site, such as `tunnelbook init mywash`")
    root = Path(parsed.site)
    if root.exists() and not root.is_dir():
        raise Failure(f"`{root}` is a file; name a folder")
    kinds = [
        cli.known(value_meant(kind, starter_kinds()) or kind, starter_kinds(), "kind of machine")
        for kind in parsed.kinds
    ]
    remove_leftovers(root.parent, below=False)
    is_there = (root / SITE_FILE).exists()
    if is_there:
        remove_leftovers(root)
    if parsed.renew_schemas:
        if kinds or not is_there:
            raise Failure("--renew-schemas is used alone, with the folder of a site")
        return _renew_schemas(parsed, root)
    if is_there:
        return _extend(parsed, root, kinds)
    _refuse_within_a_site(root)
    if parsed.answers is not None or _asks(parsed):
        return _first_morning(parsed, root)
    return _start_small(parsed, root, kinds)


def _renew_schemas(parsed: Namespace, root: Path) -> int:
    from ledger.filing.new_site import renew_schemas, stale_schemas

    written = tuple(stale_schemas(root) if parsed.dry_run else renew_schemas(root))
    for path in written:
        cli.say_written(parsed, f"{root}/{path}")
    if not written:
        print(f"the schemas in {root}/{SCHEMAS} are those of this version")
    return 0


def _extend(parsed: Namespace, root: Path, kinds: Sequence[str]) -> int:
    """Add machines to a site, or finish what an earlier call was to add."""
    from ledger.filing.new_site import add_together, end_addition, rest_of_addition

    if not kinds:
        raise Failure(
            f"`{root}` already holds a site, and nothing is overwritten; "
            f"add machines with `tunnelbook init {root} --with KIND`"
        )
    if parsed.dry_run:
        return _list_files(parsed, root, _coming(parsed, root, kinds))
    rest = rest_of_addition(root)
    if rest is None:
        added = add_together(root, _coming(parsed, root, kinds))
        _report(parsed, _opened(parsed, root), added, by_kind=True)
    else:
        print(
            "An earlier `tunnelbook init --with` was interrupted. It is now finished, "
            "and nothing else was added."
        )
        _print_added(root, rest)
        _opened(parsed, root)
    sys.stdout.flush()
    end_addition(root)
    return 0


def _opened(parsed: Namespace, root: Path) -> OpenSite:
    site = cli.open_folder(root, None, parsed.clock)
    cli.note_site(parsed, site)
    if site.known is not None:
        cli.renew_editor_schemas(root, site.known)
    return site


def _list_files(parsed: Namespace, root: Path, files: Mapping[str, str]) -> int:
    """Say which files would come; 0."""
    top, inside, outside = _parted(root, files)
    for place in (*(root / path for path in inside), *(top / path for path in outside)):
        if not place.exists():
            cli.say_written(parsed, place)
    return 0


def _refuse_within_a_site(root: Path) -> None:
    """A site within a site is one that the outer never reads."""
    for outer in root.resolve().parents:
        if (outer / SITE_FILE).is_file():
            raise Failure(
                f"`{root}` would lie within the site {outer}; name a folder outside it, "
                f"or add machines to that site with `tunnelbook init {outer} --with KIND`"
            )


def _asks(parsed: Namespace) -> bool:
    """Whether a person is there to be asked, and gave no option in place of the questions."""
    given = parsed.kinds or parsed.name or parsed.time_zone or parsed.dry_run
    return someone_is_there() and not given


def _first_morning(parsed: Namespace, root: Path) -> int:
    """A site from what people answer about it; then the work that is due."""
    from ledger.cli.first_morning import from_sheet, from_terminal, read_sheet
    from ledger.cli.main import main
    from ledger.filing.first_site import first_site

    here = _known(parsed, root, environment.machine_zone())
    kept = root.resolve().parent / f"{root.resolve().name}.answers.yaml"
    if parsed.answers is not None:
        site = from_sheet(read_sheet(Path(parsed.answers)), here)
    else:
        site = from_terminal(kept, here)
    files = first_site(site, environment.pin_of_tool())
    if parsed.dry_run:
        return _list_files(parsed, root, files)
    added = _start(root, files)
    if parsed.answers is None:
        kept.unlink()
    _report(parsed, _opened(parsed, root), added, by_kind=False)
    _guard_the_line(root)
    print(f"{_STARTING_POINT}\n\n{_ONE_COMMIT}\n")
    return main(["due", "--site", str(root)], parsed.clock)


def _known(parsed: Namespace, root: Path, zone: str) -> "Known":
    """What the machine knows of whoever starts a site."""
    from zoneinfo import ZoneInfo

    from ledger.cli.first_morning import Known

    user = environment.git_user(root if root.is_dir() else Path.cwd())
    email = user.email if _ADDRESS.fullmatch(user.email) else ""
    now = parsed.clock(ZoneInfo(zone))
    return Known(now=now, zone=zone, git_name=user.name, git_email=email)


def _start_small(parsed: Namespace, root: Path, kinds: Sequence[str]) -> int:
    """A new site with an example of each kind, asking nobody."""
    from zoneinfo import available_timezones

    from ledger.filing.new_site import new_site, placed, plain_ident
    from ledger.filing.starter import Founder

    zone = parsed.time_zone or environment.machine_zone()
    git = _known(parsed, root, cli.known(zone, sorted(available_timezones()), "time zone"))
    ident = plain_ident(git.git_name)
    founder = Founder(
        ident=ident or "first-person",
        name=git.git_name if ident else "First person",
        emails=(git.git_email,) if git.git_email else (),
        when=git.now,
        time_zone=zone,
    )
    name, tool = parsed.name or "Our wash", environment.pin_of_tool()
    files = new_site(founder, name, placed(kinds, {}), tool)
    if parsed.dry_run:
        return _list_files(parsed, root, files)
    added = _start(root, files)
    site = _opened(parsed, root)
    _report(parsed, site, added, by_kind=bool(kinds))
    print(
        f"\nThe time zone is {site.ledger.site.zone.key}; correct it where that is not "
        f"the site's.\n"
        f"Next: put your own people, hours and line rate into {root}/site.yaml, then\n"
        f"  tunnelbook check {root}\n  tunnelbook build {root}\n  tunnelbook due {root}"
    )
    _guard_the_line(root)
    return 0


def _coming(parsed: Namespace, root: Path, kinds: Sequence[str]) -> dict[str, str]:
    """The files of the machines that come to a site."""
    from ledger.filing.new_site import coming_in, placed, schema_copies
    from ledger.filing.starter import programme
    from ledger.filing.visit_file import schema_base

    site = cli.open_folder(root, None, parsed.clock)
    there = site.ledger.machines
    machines = placed(kinds, {ident: machine.station for ident, machine in there.items()})
    base = schema_base(root)
    files = coming_in(
        programme(machines, schemas=base, units=site.ledger.site.units.value), site.as_of
    )
    return files | schema_copies() if base == SCHEMAS else files


def _start(root: Path, files: dict[str, str]) -> "Added":
    """Make a new site at once, or add to a folder that is there what it lacks.

    At the top of a repository around it comes what git hosts read there.
    """
    from ledger.filing.new_site import Added, add_files

    top, inside, outside = _parted(root, files)
    if root.is_dir():
        for folder in {(root / path).parent for path in inside}:
            remove_leftovers(folder, below=False)
        added = add_files(root, inside)
    else:
        create_folder(root, {path: text.encode() for path, text in inside.items()})
        added = Added(written=tuple(inside))
    at_top = add_files(top, outside)
    for path in at_top.written:
        print(f"wrote  {top}/{path}")
    for path in (*at_top.kept, *at_top.other):
        print(
            f"kept   {top}/{path}, which was there; a site at the top of a repository gets one "
            f"for its jobs: take over from it, with TUNNELBOOK_SITE as {root.resolve().name}"
        )
    return added


def _parted(
    root: Path, files: Mapping[str, str]
) -> tuple[Path, Mapping[str, str], Mapping[str, str]]:
    """The top of a repository in a folder of which a site lies; what goes into each."""
    from ledger.filing.new_site import parted_for_hosts

    whole = root.resolve()
    top = Path(repository_above(str(whole)) or whole)
    if top == whole:
        return top, files, {}
    return top, *parted_for_hosts(files, whole.relative_to(top).as_posix())


def _print_added(root: Path, added: "Added") -> None:
    paths = [path for path in added.written if not path.startswith(".")]
    if len(paths) > _MOST_NAMED:
        folders = Counter(path.partition("/")[0] for path in paths)
        alone = [path for path in paths if folders[path.partition("/")[0]] == 1]
        paths = sorted([*alone, *(f"{top}: {n} files" for top, n in folders.items() if n > 1)])
    for path in paths:
        print(f"wrote  {root}/{path}")
    hidden = dict.fromkeys(path.partition("/")[0] for path in added.written if path[0] == ".")
    if hidden:
        print(f"wrote  {', '.join(hidden)} in {root}, for git, its hosts and your editor")
    for path in added.kept:
        if not path.startswith("."):
            print(f"kept   {root}/{path}")
    for path in added.other:
        print(f"kept   {root}/{path}, which differs from a new one")


def _report(parsed: Namespace, site: OpenSite, added: "Added", *, by_kind: bool) -> None:
    """Say what was written, and what is wrong with it; `by_kind` where nobody described it."""
    from ledger.filing.new_site import TOOL_PIN, names_a_version
    from ledger.site.pipeline import check

    root = site.root
    _print_added(root, added)
    parsed.answer.written += added.written
    if by_kind:
        print(_STARTING_POINT)
    found = check(site.loaded, site.as_of)
    cli.print_faults(d for d in found if d.position.path in added.written)
    if TOOL_PIN in added.written and not names_a_version(
        (root / TOOL_PIN).read_text(encoding="utf-8")
    ):
        print(
            f"\nBefore the jobs of a git host can run, fill in {root}/{TOOL_PIN}:\n"
            "what this program was started from names no version that they could fetch."
        )


def _guard_the_line(root: Path) -> None:
    """Say what keeps the line at the host, and make pulls keep it in the clone of a new site.

    What somebody has set there already stays.
    """
    print(_AT_THE_HOST)
    if repository_above(str(root.resolve())) is None:
        return
    try:
        git = git_in(root)
        for key, value in _KEEPS_THE_LINE.items():
            if git.attempt("config", "--local", "--get", key) is None:
                git.output("config", "--local", key, value)
                print(f"set in this clone: {key} {value}")
    except GitProblem as problem:
        print(f"not set in this clone: {problem}")


def _migrate(parsed: Namespace) -> int:
    present = migrations.FORMAT
    root = cli.site_root(parsed.site)
    nothing_to_move = f"nothing to move: the site is in format {present}, which this version reads"
    stated = migrations.format_of((root / SITE_FILE).read_text("utf-8", "replace"))
    if stated is None:
        raise FaultyFiles(f"site.yaml states no format; see `tunnelbook check {root}`")
    _require_steps_from(stated)
    try:
        repository = open_repository(root)
        head = resolve(repository, "HEAD")
    except GitProblem as problem:
        if stated == present:
            print(nothing_to_move)
            return 0
        raise Failure(f"a move is one commit, and git cannot be used here: {problem}") from problem
    try:
        start, changed = _move(repository, head)
        if start == present:
            print(nothing_to_move)
            return 0
        if parsed.dry_run:
            for path in sorted(changed):
                cli.say_written(parsed, path)
            return 0
        by = committer(root, parsed.clock)
        _write(root, changed)
        taken = (migrations.MIGRATIONS[number] for number in range(start, present))
        steps = "".join(f"- {step.words}\n" for step in taken)
        message = f"Move the site to format {present}\n\n{steps}"
        files = {path: after for path, (_, after) in changed.items()}
        made = commit_files(repository, head, files, message=message, by=by)
    except GitProblem as problem:
        raise Failure(f"{problem} Nothing was committed.") from problem
    except OSError as error:
        raise Failure(f"{cli.fault_text(error)}; nothing was committed, so run it again") from None
    print(f"moved to format {present} in commit {made[:10]}, which changes nothing else:")
    print(steps + "".join(f"  {path}\n" for path in sorted(changed)), end="")
    return 0


def _require_steps_from(stated: int) -> None:
    """Failure where no step leads on from a format."""
    if stated != migrations.FORMAT and not migrations.can_be_moved(stated):
        raise FaultyFiles(migrations.other_format(stated))


def _move(repository: Repository, head: str) -> tuple[int, dict[str, tuple[bytes, bytes]]]:
    """The format of the head, and what moving it changes: each file as it is and as it becomes."""
    with GitTree(repository, head) as tree:
        paths = filter(migrations.is_moved_kind, tree.paths())
        before = {path: tree.read(path) for path in paths}
    start = migrations.format_of(before.get(SITE_FILE, b"").decode("utf-8", "replace"))
    if start is None:
        raise FaultyFiles("the head of the branch holds no usable site.yaml; commit the site first")
    _require_steps_from(start)
    files = {path: (raw, migrations.moved(path, raw, start)) for path, raw in before.items()}
    return start, {path: (raw, after) for path, (raw, after) in files.items() if raw != after}


def _write(root: Path, changed: Mapping[str, tuple[bytes, bytes]]) -> None:
    """Write the files, site.yaml last: until it is written, the site is in its old format.

    Failure, with nothing written, where a file has changes that are not committed.
    """
    remove_leftovers(root)
    for path, before_and_after in changed.items():
        if (root / path).read_bytes() not in before_and_after:
            raise Failure(f"`{root / path}` has changes that are not committed; commit them first")
    for path in sorted(changed, key=lambda path: (path == SITE_FILE, path)):
        replace_file(root / path, changed[path][1])


COMMANDS = {
    "init": command(
        _init,
        "Start a site that passes check, by questions or by options, or add machines with their "
        "points and tasks.",
        """\
  tunnelbook init mywash                            in a terminal: asks all a site needs
  tunnelbook init mywash --answers sheet.yaml       the same from a sheet, for scripts
  tunnelbook init mywash --name "Our wash"          one brush, three tasks, no visit yet
  tunnelbook init mywash --with conveyor wrap wrap side-brush pump-stand
  tunnelbook init mywash --with blower              add to the site that is there
  tunnelbook init mywash --renew-schemas            after an upgrade of this program
  tunnelbook init --list                            the kinds there are

Nothing is ever overwritten: a task or a part that the site has already is kept
as it is. After an interruption run the same command again: it writes the rest.
Tasks and intervals are a starting point under the maker's manual.
Only --renew-schemas replaces files: the copies in .schemas/ by which an editor
completes and explains keys. The program itself never reads them.
""",
        arg("--with", "KIND", "machines to add", dest="kinds", nargs="+", default=[]),
        flag("--list", "print the kinds and end"),
        flag("--renew-schemas", "put this version's schemas into .schemas/, for the editor"),
        arg("--answers", "FILE", "start a site from a sheet of answers, and ask nothing"),
        arg("--name", None, "name of a new site; default: Our wash"),
        arg("--time-zone", "ZONE", "of a new site, by its IANA name; default: this machine's"),
        takes="site-here dry-run",
    ),
    "migrate": command(
        _migrate,
        "Move the files of a site to the format that this version reads, in one commit "
        "that changes nothing else. Comments are kept, and no visit is touched.",
        """\
  tunnelbook migrate                the site in this folder
  tunnelbook migrate mywash

The move covers site.yaml and the files of machines, tasks and drives, as the head
of the branch has them. `review` and `audit` repeat the move on the commit before
it, and report any byte that differs.
""",
        takes="site-here dry-run",
    ),
}
