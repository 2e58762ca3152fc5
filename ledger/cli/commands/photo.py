"""`tunnelbook photo`: pictures for findings, machines and points, made small."""

import argparse
from datetime import date
from pathlib import Path

from ledger.cli.arguments import arg, command
from ledger.cli.command import Failure, failing_on, fault_text, open_site
from ledger.cli.environment import require
from ledger.cli.into_git import INTO_GIT, commit_left_over, end_filing, way_of


def small_photo(file: str, day: date) -> tuple[str, bytes]:
    """The path in a site and the content of a picture made small; Failure where it is none."""
    require("PIL", "pictures")
    from ledger.filing.visit_file import photo_path, shrunk

    try:
        content = shrunk(Path(file).read_bytes())
    except OSError as error:
        raise Failure(fault_text(error)) from None
    except ValueError as error:
        raise Failure(f"`{file}`: {error}") from None
    return photo_path(day, content), content


def _photo(parsed: argparse.Namespace) -> int:
    from ledger.files.save import remove_leftovers
    from ledger.filing.visit_file import photos_beside

    site = open_site(parsed)
    day = parsed.clock(site.ledger.site.zone).date()
    made = dict(small_photo(file, day) for file in parsed.files)
    if not parsed.dry_run:
        remove_leftovers(site.root)
        with failing_on(OSError), photos_beside(site.root, made):
            pass
        parsed.answer.written.extend(made)
    for path, content in made.items():
        print(f"{path}  {len(content) / 1000:.0f} kB")
    print("Name it under `photos` of a machine or a point in equipment/.")
    way = way_of(parsed, site.ledger.site)
    if parsed.dry_run or way == "files":
        return 0
    commit_left_over(site.root, made, "Add photos\n", parsed.clock)
    return end_filing(site.root, way, site.ledger.site.zone)


COMMANDS = {
    "photo": command(
        _photo,
        "Put pictures into the site, each as a JPEG of at most 300 kB without what the camera "
        "wrote beside it: place, time, make.",
        """\
  tunnelbook photo IMG_0417.jpg plate.png
  tunnelbook record --finding brush-1='cloth torn' --photo brush-1=IMG_0418.jpg

Git does not forget: a picture that was committed and pushed stays in the
history of every clone, also when its file is deleted. No faces, no plates.
""",
        arg("files", "FILE", "a picture", nargs="+"),
        *INTO_GIT,
        takes="dry-run",
    ),
}
