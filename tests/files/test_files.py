"""Writing the book: whole files, only what changed, and never what is not ours."""

import os

import pytest

from ledger.files.book_files import MARKER, Refusal, stale, write_files

PAGE = f"<!-- {MARKER} -->\n\n# Due work\n"


def everything(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_it_writes_utf8_with_line_feeds_and_leaves_no_part_behind(tmp_path):
    found = write_files(tmp_path, {"due.md": "± 2\n", "machines/a.md": PAGE})
    assert found.written == ("due.md", "machines/a.md")
    assert everything(tmp_path) == {"due.md": b"\xc2\xb1 2\n", "machines/a.md": PAGE.encode()}


def test_a_page_that_did_not_change_is_not_touched(tmp_path):
    write_files(tmp_path, {"a.md": PAGE, "b.md": PAGE})
    for name in ("a.md", "b.md"):
        os.utime(tmp_path / name, ns=(1, 1))
    found = write_files(tmp_path, {"a.md": PAGE, "b.md": PAGE + "more\n"})
    assert (found.written, found.unchanged) == (("b.md",), 1)
    assert (tmp_path / "a.md").stat().st_mtime_ns == 1
    assert (tmp_path / "b.md").stat().st_mtime_ns != 1


def test_a_file_with_the_rights_of_any_new_file(tmp_path):
    (tmp_path / "plain").write_text("")
    write_files(tmp_path, {"a.md": PAGE})
    assert (tmp_path / "a.md").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_pages_no_longer_made_are_removed_with_their_empty_folders(tmp_path):
    write_files(tmp_path, {"a.md": PAGE, "machines/old.md": PAGE})
    found = write_files(tmp_path, {"a.md": PAGE})
    assert found.removed == ("machines/old.md",)
    assert not (tmp_path / "machines").exists()


def test_what_a_person_put_there_stays(tmp_path):
    (tmp_path / "plots").mkdir()
    (tmp_path / "plots/photo.svg").write_text("<svg/>")
    (tmp_path / "notes.md").write_text("# Notes\n")
    (tmp_path / "list.csv").write_text(MARKER)
    before = everything(tmp_path)
    write_files(tmp_path, {"a.md": PAGE})
    assert everything(tmp_path) == before | {"a.md": PAGE.encode()}


def test_a_persons_file_is_not_overwritten_and_then_nothing_is_written(tmp_path):
    (tmp_path / "README.md").write_text("# By hand\n")
    found = write_files(tmp_path, {"README.md": PAGE, "a.md": PAGE})
    assert [refusal.path for refusal in found.refused] == ["README.md"]
    assert everything(tmp_path) == {"README.md": b"# By hand\n"}


def test_an_empty_page_is_replaced(tmp_path):
    """As a loss of power leaves it."""
    (tmp_path / "a.md").write_text("")
    assert write_files(tmp_path, {"a.md": PAGE}).written == ("a.md",)


def test_a_page_edited_below_its_marker_is_replaced(tmp_path):
    (tmp_path / "a.md").write_text(PAGE + "typed here\n")
    assert write_files(tmp_path, {"a.md": PAGE}).written == ("a.md",)


def test_sub_folders_that_a_run_does_not_speak_for_are_left(tmp_path):
    write_files(tmp_path, {"a.md": PAGE, "html/a.html": PAGE})
    assert stale(tmp_path, {"a.md": PAGE}, leave=("html",)) == ()
    assert write_files(tmp_path, {"a.md": PAGE}, leave=("html",)).removed == ()
    assert write_files(tmp_path, {"a.md": PAGE}).removed == ("html/a.html",)


@pytest.mark.parametrize("path", ["", "/etc/x.md", "../x.md", "a/../../x.md", "a\\b.md", "a\0.md"])
def test_paths_that_are_not_inside_are_refused(tmp_path, path):
    found = write_files(tmp_path / "book", {path: PAGE})
    assert found.refused == (Refusal(path=path, why="is not a path inside the folder"),)
    assert everything(tmp_path) == {}


@pytest.mark.parametrize("link", ["machines", "machines/a.md"])
def test_a_link_that_leads_out_is_refused(tmp_path, link):
    book, outside = tmp_path / "book", tmp_path / "outside"
    outside.mkdir()
    (outside / "a.md").write_text(PAGE)
    (book / link).parent.mkdir(parents=True)
    (book / link).symlink_to(outside / "a.md" if link.endswith(".md") else outside)
    found = write_files(book, {"machines/a.md": PAGE + "more\n"})
    assert found.refused[0].why == "leads out of the folder through a link"
    assert (outside / "a.md").read_text() == PAGE


def test_removal_never_follows_a_link(tmp_path):
    book, outside = tmp_path / "book", tmp_path / "outside"
    outside.mkdir()
    book.mkdir()
    (outside / "a.md").write_text(PAGE)
    (book / "machines").symlink_to(outside)
    assert write_files(book, {"b.md": PAGE}).removed == ()
    assert (outside / "a.md").exists()


def test_a_folder_in_a_pages_place_is_refused(tmp_path):
    (tmp_path / "a.md").mkdir()
    assert write_files(tmp_path, {"a.md": PAGE}).refused[0].why == "is a folder"


def test_stale_names_changed_missing_and_left_over(tmp_path):
    write_files(tmp_path, {"a.md": PAGE, "b.md": PAGE, "old.md": PAGE})
    wanted = {"a.md": PAGE, "b.md": PAGE + "more\n", "new.md": PAGE}
    assert stale(tmp_path, wanted) == ("b.md: changed", "new.md: missing", "old.md: left over")
    write_files(tmp_path, wanted)
    assert stale(tmp_path, wanted) == ()


def test_a_folder_that_is_not_there_has_every_page_missing(tmp_path):
    assert stale(tmp_path / "book", {"a.md": PAGE}) == ("a.md: missing",)


def test_a_folder_that_is_a_link_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "book").symlink_to(tmp_path / "elsewhere")
    result = write_files(tmp_path / "book", {"due.md": "due"})
    assert [refusal.path for refusal in result.refused] == ["due.md"]
    assert list((tmp_path / "elsewhere").iterdir()) == []


@pytest.mark.parametrize(
    "file", [pytest.param("book", id="the book"), pytest.param("book/machines", id="a sub-folder")]
)
def test_a_file_where_a_folder_is_needed_is_refused(tmp_path, file):
    place = tmp_path / file
    place.parent.mkdir(exist_ok=True)
    place.write_text("notes")
    wanted = {"machines/brush.md": "page"}
    assert [r.path for r in write_files(tmp_path / "book", wanted).refused] == list(wanted)
    assert stale(tmp_path / "book", wanted) == ("machines/brush.md: missing",)
    assert place.read_text() == "notes"


def test_a_folder_where_a_page_is_needed_is_stale(tmp_path):
    (tmp_path / "due.md").mkdir()
    assert stale(tmp_path, {"due.md": "due"}) == ("due.md: missing",)
