"""Generated sites are the same each time, sound in the ledger's eyes, and true to their truth."""

import re
from datetime import date
from pathlib import Path

import pytest
from pinned_clock import pinned_clock
from sitegen.sites import generate

from ledger.cli.command import open_folder
from ledger.site.pipeline import check


def files_of(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file()
    }


def test_the_same_arguments_give_the_same_bytes(tmp_path):
    first = generate(tmp_path / "a", seed=7, machines=3, days=20, visits_per_day=2)
    second = generate(tmp_path / "b", seed=7, machines=3, days=20, visits_per_day=2)
    assert first == second
    assert files_of(tmp_path / "a") == files_of(tmp_path / "b")


def test_another_seed_gives_another_site(tmp_path):
    generate(tmp_path / "a", seed=7, machines=3, days=20, visits_per_day=2)
    generate(tmp_path / "b", seed=8, machines=3, days=20, visits_per_day=2)
    assert files_of(tmp_path / "a") != files_of(tmp_path / "b")


@pytest.mark.parametrize(("days", "visits_per_day"), [(1, 1), (40, 3), (5, 72)])
def test_a_site_has_as_many_visits_as_asked_for(tmp_path, days, visits_per_day):
    generate(tmp_path, machines=2, days=days, visits_per_day=visits_per_day)
    assert len(list(tmp_path.glob("observations/*/*/*.yaml"))) == days * visits_per_day


@pytest.mark.parametrize("wrong", [{"machines": 0}, {"days": 0}, {"visits_per_day": 73}])
def test_a_site_of_nothing_is_refused(tmp_path, wrong):
    with pytest.raises(ValueError, match="machines, days"):
        generate(tmp_path, **wrong)


def test_the_ledger_reads_a_generated_site_without_a_word(tmp_path):
    generate(tmp_path, machines=3, days=40, visits_per_day=3)
    site = open_folder(tmp_path, date(2026, 2, 9), pinned_clock)
    assert check(site.loaded, site.as_of) == ()
    assert len(site.ledger.visits) == 120


def test_modelines_lead_from_each_file_to_the_schemas(tmp_path):
    generate(tmp_path / "site", machines=1, days=1, visits_per_day=1, schemas="../schemas")
    for path, text in files_of(tmp_path / "site").items():
        target = re.match(rb"# yaml-language-server: \$schema=(\S+)\n", text)
        assert target, path
        pointed = (tmp_path / "site" / path).parent / target[1].decode()
        assert pointed.resolve().parent == tmp_path / "schemas"


def test_counts_agree_with_the_true_speed_on_average(tmp_path):
    truth = generate(tmp_path, machines=2, days=700, visits_per_day=1)
    for machine in truth.rpm_per_hz:
        pattern = re.compile(rf"at: {machine}, counted: (\d+), seconds: 30")
        counts = [
            int(found[1])
            for path in tmp_path.glob("observations/*/*/*.yaml")
            for found in pattern.finditer(path.read_text())
        ]
        assert len(counts) == 100
        # 100 counts of standard uncertainty under 0.55 passes: four standard errors are 0.22.
        assert sum(counts) / 100 == pytest.approx(truth.rpm(machine) / 2, abs=0.22)


def test_cloth_is_renewed_before_it_is_worn_out(tmp_path):
    generate(tmp_path, machines=2, days=3000, visits_per_day=1)
    text = "".join(path.read_text() for path in sorted(tmp_path.glob("observations/*/*/*.yaml")))
    lengths = [int(found) for found in re.findall(r"strip_length_mm: (\d+)", text)]

    assert min(lengths) > 410
    assert max(lengths) < 510
    assert "changed: brush-set" in text


def test_some_lines_are_like_no_others(tmp_path):
    generate(tmp_path, machines=3, days=60, visits_per_day=3)
    text = "".join(path.read_text() for path in tmp_path.glob("observations/*/*/*.yaml"))
    noted = text.count("note: heard a knock")

    assert noted / text.count("  - {") == pytest.approx(0.12, abs=0.03)
