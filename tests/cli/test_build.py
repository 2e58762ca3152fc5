"""`tunnelbook build`: what is written, what is left alone, what is stale."""

import re
import shutil

import pytest
from git_repo import git
from sound_site import FIRST_VISIT, SOUND


@pytest.fixture
def site(tmp_path):
    return shutil.copytree(SOUND, tmp_path / "wash")


def test_the_first_build_writes_every_page_and_the_second_touches_none(tunnelbook, site):
    assert tunnelbook("build", site, "--as-of", "2026-12-01") == 0
    count = len(list((site / "book").rglob("*.*")))
    assert tunnelbook.out == f"{count} files in {site}/book as of 2026-12-01: {count} written, 0 removed, 0 untouched\n"  # fmt: skip
    before = {path: path.stat() for path in (site / "book").rglob("*.*")}
    assert tunnelbook("build", site, "--as-of", "2026-12-01") == 0
    assert f"0 written, 0 removed, {count} untouched" in tunnelbook.out
    for path, stat in before.items():
        assert (path.stat().st_mtime_ns, path.stat().st_ino) == (stat.st_mtime_ns, stat.st_ino)


def test_a_page_is_removed_with_what_it_was_about(tunnelbook, site):
    tunnelbook("build", site, "--as-of", "2026-12-01")
    (site / "tasks/look-over.yaml").write_text(
        "title: Other\non: {ids: [conveyor]}\nevery: 1 month\n"
    )
    (site / "tasks/look-over.yaml").rename(site / "tasks/look-again.yaml")
    visit = site / "observations/2026/11/2026-11-17T0640-m-tarrow.yaml"
    visit.write_text(visit.read_text().replace("look-over", "look-again"))
    assert tunnelbook("build", site, "--as-of", "2026-12-01") == 0
    assert "1 removed" in tunnelbook.out
    assert sorted(path.stem for path in (site / "book/tasks").iterdir()) == ["check-speed", "grease-bearings", "look-again"]  # fmt: skip


@pytest.mark.parametrize(
    ("publish", "said", "holds", "lacks"),
    [
        ("off", "Nothing is published", None, None),
        ("phone", "Published is the phone's page: names of people", "index.html", "due.html"),
        ("book", "Published is the whole book", "due.html", "README.md"),
    ],
)
def test_what_becomes_public_is_said_and_nothing_else_is_written(
    tunnelbook, site, tmp_path, publish, said, holds, lacks
):
    with (site / "site.yaml").open("a") as file:
        file.write(f"publish: {publish}\n")
    public = tmp_path / "public"
    command = ("build", site, "--as-of", "2026-12-01", "--publish", public)
    assert tunnelbook(*command, "--dry-run") == 0
    assert not public.exists()
    assert tunnelbook(*command) == 0
    assert tunnelbook.out.startswith(said)
    assert not (site / "book").exists()
    if holds is None:
        assert not public.exists()
        return
    assert (public / holds).is_file()
    assert not (public / lacks).exists()
    assert (public / "sw.js").is_file()
    assert tunnelbook(*command) == 2
    assert "is not empty" in tunnelbook.err


class TestCheck:
    def test_a_current_book_is_said_to_be_so_by_silence(self, tunnelbook, site):
        tunnelbook("build", site, "--as-of", "2026-12-01")
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check") == 0
        assert (tunnelbook.out, tunnelbook.err) == ("", "")

    def test_a_book_that_was_never_built_is_stale_and_nothing_is_written(self, tunnelbook, site):
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check") == 1
        assert "stale: book/README.md: missing\n" in tunnelbook.out
        assert "tunnelbook build" in tunnelbook.err
        assert not (site / "book").exists()

    def test_a_page_edited_by_hand_is_stale_and_named(self, tunnelbook, site):
        tunnelbook("build", site, "--as-of", "2026-12-01")
        page = site / "book/setpoints.md"
        page.write_text(page.read_text().replace("44 Hz", "54 Hz"))
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check") == 1
        assert tunnelbook.out == "stale: book/setpoints.md: changed\n"
        assert tunnelbook.err.startswith("1 page is stale; ")

    def test_a_new_visit_makes_stale_what_it_changes(self, tunnelbook, site):
        tunnelbook("build", site, "--as-of", "2026-12-01")
        visit = site / FIRST_VISIT
        visit.write_text(visit.read_text().replace("turns: 80", "turns: 81"))
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check") == 1
        stale = set(re.findall(r"^stale: book/(.*): changed$", tunnelbook.out, re.MULTILINE))
        assert {"speeds.md", "machines/brush-p2.md", "setpoints.md"} <= stale
        assert {"machines/conveyor.md", "machines/low-brush.md", "parts.md"}.isdisjoint(stale)

    def test_html_pages_are_checked_only_where_asked(self, tunnelbook, site):
        tunnelbook("build", site, "--as-of", "2026-12-01")
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check", "--html") == 1
        assert "stale: book/html/round.html: missing\n" in tunnelbook.out
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--html") == 0
        assert tunnelbook("build", site, "--as-of", "2026-12-01", "--check") == 0


def test_the_phones_page_names_the_commit_it_was_made_at_as_long_as_git_has_no_such_page(
    tunnelbook, wash, shared, tmp_path
):
    def named():
        assert tunnelbook("build", wash, "--html") == 0
        return re.search('"commit": "(.*?)"', (wash / "book/html/round.html").read_text())[1]

    assert named() == git(wash, "rev-parse", "HEAD")[:12]
    git(wash, "commit", "-q", "--allow-empty", "-m", "Nothing")
    head = git(wash, "rev-parse", "HEAD")[:12]
    assert named() == head
    with (wash / "site.yaml").open("a") as site:
        site.write("publish: phone\n")
    assert tunnelbook("build", wash, "--publish", tmp_path / "public") == 0
    assert head in (tmp_path / "public/index.html").read_text()
    git(wash, "add", ".")
    git(wash, "commit", "-qm", "Keep the pages for a browser")
    tunnelbook("audit", wash)
    assert "html/round.html" not in tunnelbook.out
    assert named() == ""
    git(wash, "commit", "-qam", "Build")
    assert tunnelbook("build", wash, "--html", "--check") == 0


def test_a_file_of_somebody_else_in_the_way_is_refused(tunnelbook, site):
    (site / "book").mkdir()
    (site / "book/due.md").write_text("my own notes\n")
    assert tunnelbook("build", site, "--as-of", "2026-12-01") == 2
    assert "not written: book/due.md" in tunnelbook.err
    assert (site / "book/due.md").read_text() == "my own notes\n"
