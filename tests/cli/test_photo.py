"""`tunnelbook photo`: pictures made small, and into git as far as the site says."""

import pytest
from git_repo import git
from PIL import Image


@pytest.fixture
def plates(tmp_path):
    paths = [tmp_path / "one.png", tmp_path / "two.png"]
    for number, path in enumerate(paths):
        Image.new("RGB", (40, 30), (200, 10, 10 * number)).save(path)
    return paths


def in_head(wash) -> set[str]:
    return set(git(wash, "ls-tree", "-r", "--name-only", "HEAD", "photos").split())


def test_pictures_go_into_git_as_far_as_the_site_says(tunnelbook, wash, shared, plates):
    """Not at all without the key; in one commit with it, which leaves out what was staged."""
    assert tunnelbook("photo", "--site", wash, plates[0]) == 0
    assert in_head(wash) == set()
    with (wash / "site.yaml").open("a") as site:
        site.write("filing: commit\n")
    git(wash, "add", "site.yaml")
    assert tunnelbook("photo", "--site", wash, *plates, "--dry-run") == 0
    assert in_head(wash) == set()
    assert tunnelbook("photo", "--site", wash, *plates) == 0, tunnelbook.err
    assert ": Add photos" in tunnelbook.out
    photos = {path.relative_to(wash).as_posix() for path in (wash / "photos").rglob("*.jpg")}
    assert in_head(wash) == photos
    assert len(photos) == 2
    assert git(wash, "diff", "--cached", "--name-only").split() == ["site.yaml"]
    assert tunnelbook("photo", "--site", wash, *plates) == 0
    assert "committed" not in tunnelbook.out


def test_an_option_goes_further_than_the_site(tunnelbook, wash, shared, plates):
    assert tunnelbook("photo", "--site", wash, plates[0], "--commit") == 0, tunnelbook.err
    assert ": Add photos" in tunnelbook.out
    assert len(in_head(wash)) == 1
