"""Each folder of files at fault gives all its diagnostics in one run, worded as a person reads them."""

import difflib
import os

import pytest
from sound_site import AS_OF, CASES, SOUND, found_in, texts_below

from ledger.cli.diagnostics_forms import render_text

FOLDERS = sorted(path.name for path in CASES.iterdir() if path.is_dir() and path != SOUND)


@pytest.mark.parametrize("name", FOLDERS)
def test_a_broken_site_is_explained_in_one_run(name):
    files = texts_below(SOUND) | texts_below(CASES / name)
    said = render_text(one for one in found_in(files, AS_OF) if one.is_error)
    golden = CASES / name / "expected.txt"
    if os.environ.get("ACCEPT_GOLDEN"):
        golden.write_text(said, encoding="utf-8")
    wanted = golden.read_text(encoding="utf-8")
    assert said == wanted, "".join(
        difflib.unified_diff(wanted.splitlines(keepends=True), said.splitlines(keepends=True))
    )


def test_the_sound_site_gives_nothing_to_say():
    assert found_in(texts_below(SOUND)) == ()
