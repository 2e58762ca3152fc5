"""`tunnelbook record` with everything told by options."""

import os
import re
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from pinned_clock import pinned_clock
from small_site import FIRST_DAY, ledger_of

from ledger.cli.command import open_folder
from ledger.filing import visit_file
from ledger.filing.options import Options, entries_of

DAY_OF_SITE = "2026-01-05"


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    """A side brush with nozzles and a conveyor, in service for long, and a vehicle counter."""
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "conveyor", "--time-zone", "Etc/UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", f"in_service: {DAY_OF_SITE}", site.read_text()))
    return root


def filed(root: Path) -> list[Path]:
    return (
        sorted((root / "observations").rglob("*.yaml")) if (root / "observations").exists() else []
    )


def entries(root: Path):
    """The entries of the one visit filed, as typed."""
    visits = open_folder(root, None, pinned_clock).ledger.visits
    assert len(visits) == 1
    return [dict(entry.raw) for entry in visits[0].entries]


def test_work_told_by_options_is_filed_under_its_right_name(tunnelbook, wash):
    status = tunnelbook(
        "record", "--site", wash, "--at", "2026-11-23T06:40", "--done", "look-at-nozzles",
        "--done", "grease-shaft-bearings@side-brush", "--meter", "vehicles=184233",
        "--note", "Frost in the morning.",
    )  # fmt: skip
    assert (status, tunnelbook.err) == (0, "")
    path = wash / "observations/2026/11/2026-11-23T0640-ada-tarrowby.yaml"
    assert f"filed {path}" in tunnelbook.out
    assert path.read_text() in tunnelbook.out
    assert entries(wash) == [
        {"task": "look-at-nozzles"},
        {"task": "grease-shaft-bearings", "at": "side-brush"},
    ]
    visit = open_folder(wash, None, pinned_clock).ledger.visits[0]
    assert visit.meters == {"vehicles": 184233}
    assert visit.note == "Frost in the morning."
    assert visit.entered_at is not None


ROUND = ("--in-order", "before-opening 12 min but side-brush/cloth")


def test_the_daily_round_of_a_pass_is_one_answer_with_its_exceptions(tunnelbook, wash):
    """What is seen where the lot fell is asked for by name; something wrong is a finding."""
    assert tunnelbook("record", "--site", wash, *ROUND) == 2
    (first, steel), (second, strips) = re.findall(r"--seen '(\S+)=ANSWER'  (.+)", tunnelbook.err)
    assert "How is the steel there?" in steel
    assert "How do the strips hang?" in strips
    assert filed(wash) == []
    seen = ("--seen", f"{first}=whole", "--seen", f"{second}=Torn", "--urgency", "now")
    assert tunnelbook("record", "--site", wash, "--yes", *ROUND, *seen) == 0
    claim, finding = entries(wash)
    assert (claim["in_order"], claim["minutes"]) == ("before-opening", 12)
    assert (claim["drawn"], claim["seen"]) == ([first, second], ["Whole", "Torn"])
    assert claim["except"] == ["side-brush/cloth"]
    assert finding == {"finding": "Torn", "at": second, "urgency": "now"}
    tasks = open_folder(wash, None, pinned_clock).ledger.tasks
    assert set(claim["tasks"]) <= {ident for ident, task in tasks.items() if not task.safety}
    assert claim["of"] >= len(claim["tasks"]) > 0


def test_a_round_waits_for_the_places_drawn_and_for_its_minutes(tunnelbook, wash):
    for words in (("--seen", "conveyor=Rusty"), ("--seen", "conveyor")):
        assert tunnelbook("record", "--site", wash, *ROUND, *words) == 2
    assert tunnelbook("record", "--site", wash, "--in-order", "before-opening") == 2
    assert "--in-order 'before-opening N min'  how long it took" in tunnelbook.err
    assert tunnelbook("record", "--site", wash, "--seen", "conveyor=Whole") == 2
    assert "no round of this call was drawn to look at conveyor" in tunnelbook.err
    assert filed(wash) == []


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ("at-noon", "at-noon"),
        ("before-opening but side-brush/motor", "the round does not include side-brush/motor"),
        ("closed", "there is no daily round closed for"),
    ],
)
def test_a_round_that_cannot_be_said_to_be_in_order_is_refused(tunnelbook, wash, said, fault):
    assert tunnelbook("record", "--site", wash, "--in-order", said) != 0
    assert fault in tunnelbook.err
    assert filed(wash) == []


def test_a_visit_of_now_was_not_entered_later(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 0
    assert "entered_at" not in filed(wash)[0].read_text()


def test_a_count_goes_with_the_task_that_asks_for_it(tunnelbook, wash):
    tunnelbook(
        "record", "--site", wash, "--yes", "--done", "check-brush-speed",
        "--speed", "side-brush=38/30@44",
    )  # fmt: skip
    assert entries(wash) == [
        {
            "task": "check-brush-speed",
            "at": "side-brush",
            "counted": 38,
            "seconds": 30,
            "found_hz": 44,
        }
    ]


COUNT = {"at": "side-brush", "counted": 38, "seconds": 30}


def test_a_count_by_itself_does_the_one_task_that_asks_for_it(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--speed", "side-brush=38/30") == 0
    assert entries(wash) == [{"task": "check-brush-speed"} | COUNT]


@pytest.mark.parametrize(
    ("count", "entry"),
    [
        pytest.param("31/30/on-pass@38", {"counted": 31, "seconds": 30, "start": "on-pass", "found_hz": 38}, id="started on a pass"),
        pytest.param("20/14.1/turns", {"turns": 20, "seconds": 14.1}, id="whole turns"),
    ],
)  # fmt: skip
def test_how_a_speed_was_read_stands_behind_it(count, entry):
    ledger = ledger_of()
    options = Options(speed=(f"brush={count}",))
    assert entries_of(ledger, options, FIRST_DAY) == [{"at": "brush", **entry}]


def test_another_word_behind_a_count_is_refused_with_what_to_write():
    with pytest.raises(ValueError, match="38 30 on-pass where the watch was started on a pass"):
        entries_of(ledger_of(), Options(speed=("brush=31/30/late",)), FIRST_DAY)


@pytest.mark.parametrize(
    "change", ["two tasks ask for it", "the task has ended", "it asks for more"]
)
def test_a_count_that_might_do_another_task_or_half_of_one_names_none(tunnelbook, wash, change):
    task = wash / "tasks/check-brush-speed.yaml"
    text = task.read_text()
    match change:
        case "two tasks ask for it":
            task.with_name("count-again.yaml").write_text(text)
        case "the task has ended":
            task.write_text(text + "ends: 2026-03-01\n")
        case _:
            task.write_text(re.sub("(?m)^reads: .*$", "reads: [speed, temperature]", text))
    assert tunnelbook("record", "--site", wash, "--speed", "side-brush=38/30", "--yes") == 0
    assert entries(wash) == [COUNT]


@pytest.fixture
def hydraulic(wash):
    """The side brush with a hydraulic motor behind a flow control."""
    machine = wash / "equipment/side-brush.yaml"
    text = re.sub(
        "(?m)^drive: .*$",
        "drive: {type: hydraulic, motor_cm3: 160, flow_limits_gpm: [2, 5]}",
        machine.read_text(),
    )
    machine.write_text(text)
    return wash


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--speed", "side-brush=38/30@44Hz"), "is hydraulic and has no Hz; its setting is a flow"),
        (("--speed", "side-brush=38/30@44"), "44 gpm is far beyond its 2 to 5"),
        (("--entry", "{at: side-brush, found_hz: 44}"), "write `found_flow_gpm` or"),
        (("--entry", "{at: [conveyor, side-brush], left_hz: 44}"), "not `left_hz`"),
    ],
)
def test_a_hydraulic_motor_has_no_frequency(tunnelbook, hydraulic, words, complaint):
    assert tunnelbook("record", "--site", hydraulic, *words) == 2
    assert complaint in tunnelbook.err
    assert filed(hydraulic) == []


@pytest.mark.parametrize(
    ("setting", "held"),
    [("3.8", {"found_flow_gpm": 3.8}), ("14.4L/min", {"found_flow_lpm": 14.4})],
)
def test_a_flow_is_filed_in_the_unit_it_was_read_in(tunnelbook, hydraulic, setting, held):
    assert tunnelbook("record", "--site", hydraulic, "--speed", f"side-brush=38/30@{setting}") == 0
    assert entries(hydraulic) == [{"task": "check-brush-speed"} | COUNT | held]


def test_places_without_a_count_are_told_apart_from_those_with_one(tunnelbook, wash):
    tunnelbook("init", wash, "--with", "wrap")
    tunnelbook(
        "record", "--site", wash, "--yes", "--done", "check-brush-speed",
        "--speed", "side-brush=38/30",
    )  # fmt: skip
    assert entries(wash) == [
        {"task": "check-brush-speed", "except": ["side-brush"]},
        {"task": "check-brush-speed", "at": "side-brush", "counted": 38, "seconds": 30},
    ]


def test_findings_what_was_not_done_and_any_other_entry(tunnelbook, wash):
    status = tunnelbook(
        "record", "--site", wash,
        "--finding", "side-brush/nozzle-1=sprays aside = wet floor", "--urgency", "now",
        "--not-done", "look-over-conveyor=line could not be stopped",
        "--entry", "{at: side-brush, temperature_f: 126}",
    )  # fmt: skip
    assert (status, tunnelbook.err) == (0, "")
    assert entries(wash) == [
        {
            "task": "look-over-conveyor",
            "outcome": "not-done",
            "reason": "line could not be stopped",
        },
        {"finding": "sprays aside = wet floor", "at": "side-brush/nozzle-1", "urgency": "now"},
        {"at": "side-brush", "temperature_f": 126},
    ]


@pytest.mark.parametrize(
    ("option", "value", "filed"),
    [
        ("--stop", "vehicle=12 min", "{stop: vehicle, stopped_minutes: 12}"),
        ("--speed", "side-brush=38/30s", "counted: 38, seconds: 30}"),
    ],
)
def test_a_number_may_have_its_unit_behind_it(tunnelbook, wash, option, value, filed):
    assert tunnelbook("record", "--site", wash, option, value, "--dry-run") == 0
    assert filed in tunnelbook.out


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--stop", "vehicle=12 h", "`12 h` is not in minutes"),
        ("--done", "look-at-nozzles@10", "there is no machine `10`; at station 10: `side-brush`"),
    ],
)
def test_another_unit_and_a_station_are_told(tunnelbook, wash, option, value, told):
    assert tunnelbook("record", "--site", wash, option, value, "--dry-run") == 2
    assert told in tunnelbook.err


def test_a_finding_is_closed_by_its_name(tunnelbook, wash):
    tunnelbook("record", "--site", wash, "--at", "2026-11-23T06:40", "--finding", "side-brush=loud")
    assert tunnelbook("record", "--site", wash, "--close", "2026-11-23T0640-ada-tarrowby#1") == 0
    closing = open_folder(wash, None, pinned_clock).ledger.visits[1].entries[0]
    assert str(closing.closes) == "2026-11-23T0640-ada-tarrowby#1"
    assert closing.places[0].machine == "side-brush"


def test_a_machine_is_tied_back_and_let_run_again_by_name(tunnelbook, wash):
    record = ("record", "--site", wash)
    assert tunnelbook(*record, "--at", "2026-11-23T06:40", "--tied-back", "side-brush=bent") == 0
    tunnelbook("due", "--site", wash)
    assert "since 2026-11-23 06:40: bent. " in tunnelbook.out
    assert "Open until an entry closes 2026-11-23T0640-ada-tarrowby#1." in " ".join(
        tunnelbook.out.split()
    )
    assert tunnelbook(*record, "--close", "2026-11-23T0640-ada-tarrowby#1") == 0
    assert "runs again: " in tunnelbook.out
    tunnelbook("due", "--site", wash)
    assert "Tied back" not in tunnelbook.out


def test_a_dry_run_writes_nothing(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--dry-run", "--done", "look-at-nozzles") == 0
    assert "{task: look-at-nozzles}" in tunnelbook.out
    assert filed(wash) == []


def test_the_second_visit_of_a_minute_does_not_overwrite_the_first(tunnelbook, wash):
    for words in (("--done", "look-at-nozzles"), ("--finding", "side-brush=loud")):
        tunnelbook("record", "--site", wash, "--at", "2026-11-23T06:40", *words)
    assert [path.name for path in filed(wash)] == [
        "2026-11-23T0640-ada-tarrowby.yaml",
        "2026-11-23T0640-ada-tarrowby~2.yaml",
    ]


def test_a_minute_without_a_free_name_says_what_to_do(tunnelbook, wash, monkeypatch):
    monkeypatch.setattr("ledger.filing.visit_file._MOST_IN_A_MINUTE", 1)
    words = ("record", "--site", wash, "--at", "2026-11-23T06:40", "--yes", "--done")
    assert tunnelbook(*words, "look-at-nozzles") == 0
    assert tunnelbook(*words, "look-over-conveyor") == 2
    assert "wait a minute, or say another with --at" in tunnelbook.err


def test_a_name_taken_at_the_last_moment_gives_way_to_the_next(tunnelbook, wash, monkeypatch):
    """Another visit of the minute is written between the check and the writing."""
    write_new = visit_file.write_new
    others = ["of the same minute"]

    def beaten(root, path, text):
        if others:
            others.pop()
            write_new(root, path, text)
        return write_new(root, path, text)

    monkeypatch.setattr(visit_file, "write_new", beaten)
    words = ("record", "--site", wash, "--at", "2026-11-23T06:40", "--done", "look-at-nozzles")
    assert tunnelbook(*words) == 0
    assert [path.stem for path in filed(wash)] == [
        "2026-11-23T0640-ada-tarrowby",
        "2026-11-23T0640-ada-tarrowby~2",
    ]


def test_the_same_visit_is_filed_once(tunnelbook, wash):
    """As after a kill, or a disk that did not confirm: told again, perhaps entered later."""
    words = ("record", "--site", wash, "--at", "2026-11-23T06:40", "--done", "look-at-nozzles")
    assert tunnelbook(*words) == 0
    tunnelbook.clock = lambda zone: pinned_clock(zone) + timedelta(hours=2)
    assert tunnelbook(*words) == 0
    assert tunnelbook.out == f"filed already: {filed(wash)[0]}\n"
    assert len(filed(wash)) == 1


def test_an_error_is_told_by_line_and_nothing_is_filed(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--entry", "{task: look-at-nozzle, minuts: 3}") == 2
    assert "minuts" in tunnelbook.err
    assert "did you mean" in tunnelbook.err
    assert tunnelbook.err.endswith("nothing was filed\n")
    assert filed(wash) == []


def test_an_unknown_task_is_told_with_the_nearest(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzle") == 2
    assert "did you mean: look-at-nozzles?" in tunnelbook.err
    assert filed(wash) == []


def test_what_a_foreman_would_ask_about_needs_a_yes(tunnelbook, wash):
    words = (
        "record",
        "--site",
        wash,
        "--at",
        "2025-06-01T06:40",
        "--done",
        "look-at-nozzles@side-brush",
    )
    assert tunnelbook(*words) == 1
    assert "this counts nowhere: `side-brush` came into service only on" in tunnelbook.err
    assert "--yes" in tunnelbook.err
    assert filed(wash) == []
    assert tunnelbook(*words, "--yes") == 0
    assert len(filed(wash)) == 1


@pytest.mark.parametrize(
    ("said", "when"),
    [
        ("yesterday 6:40", "2026-11-24T06:40"),
        ("today, 06:40", "2026-11-25T06:40"),
        ("6:40", "2026-11-25T06:40"),
        ("2026-11-23 06:40", "2026-11-23T06:40"),
    ],
)
def test_a_time_as_people_say_it(tunnelbook, wash, said, when):
    assert tunnelbook("record", "--site", wash, "--at", said, "--done", "look-at-nozzles") == 0
    (visit,) = filed(wash)
    assert visit.read_text().splitlines()[1] == f"at: {when}"


@pytest.mark.parametrize("at", ["60", "null", "{}"])
def test_a_place_that_is_no_word_is_explained(tunnelbook, wash, at):
    entry = f"{{at: {at}, finding: x}}"
    assert tunnelbook("record", "--site", wash, "--entry", entry, "--dry-run") == 2
    assert "error: `at` is " in tunnelbook.err
    assert "expected: machine or machine/point" in tunnelbook.err


def test_a_fault_in_another_file_keeps_no_work_from_being_filed(tunnelbook, wash):
    (wash / "tasks/broken.yaml").write_text("titel: x\n")
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 0
    assert "other files of the site have errors" in tunnelbook.err


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--by", "ada-tarowby"), "did you mean `ada-tarrowby`"),
        (("--at", "quarter to six"), "write 06:40"),
        (("--at", "2026-11-23"), "write 06:40"),
        (("--at", "yesterday"), "`yesterday 06:40`"),
        (("--stop", "vehcle=12"), "--stop cannot be `vehcle`; did you mean `vehicle`?"),
        (("--stop", "weather=12"), "its causes: machine, vehicle, operator"),
        (("--stop", "vehicle=12@side-brsh"), "did you mean `side-brush`"),
        (("--finding", "side-brsh=loud"), "did you mean `side-brush`"),
        (("--tied-back", "side-brsh=bent"), "did you mean `side-brush`"),
        (("--done", "look-at-nozzles@side-brsh"), "did you mean `side-brush`"),
        (("--speed", "side-brush=38"), "PASSES/SECONDS"),
        (("--speed", "side-brsh=38/30"), "did you mean `side-brush`"),
        (("--speed", "side-brush=38/30@fast"), "no setting in Hz"),
        (("--speed", "side-brush=38/30@3.8gpm"), "its setting is in Hz"),
        (("--entry", "{at: side-brush, found_flow_gpm: 4}"), "write `found_hz`"),
        (("--speed", "side-brush=38.5/30"), "not a whole number"),
        (("--speed", "side-brush=38/thirty"), "not a number"),
        (("--finding", "side-brush"), "PLACE=TEXT"),
        (("--not-done", "look-at-nozzles"), "REASON"),
        (("--close", "2026-11-23T0640-ada-tarrowby#1"), "there is no entry"),
        (("--close", "that one"), "VISIT#NUMBER"),
        (("--entry", "[1, 2]"), "is not an entry"),
        (("--meter", "vehicles=many", "--done", "look-at-nozzles"), "not a number"),
        (("--meter", "vehicles=1", "--meter", "vehicles=2"), "--meter vehicles is given twice"),
        (("--with", "bob", "--done", "look-at-nozzles"), "there is no person `bob`"),
    ],
)
def test_words_that_cannot_be_used(tunnelbook, wash, words, complaint):
    assert tunnelbook("record", "--site", wash, *words) == 2
    assert complaint in tunnelbook.err
    assert filed(wash) == []


def test_someone_git_does_not_know_is_told_who_there_is(tunnelbook, wash, monkeypatch):
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 2
    assert "--by PERSON: ada-tarrowby, second-person" in tunnelbook.err


def test_someone_who_left_is_not_offered(tunnelbook, wash, monkeypatch):
    site = wash / "site.yaml"
    site.write_text(
        site.read_text().replace(
            "    name: Second person\n", "    name: Second person\n    until: 2026-02-01\n"
        )
    )
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 2
    assert tunnelbook.err.endswith("--by PERSON: ada-tarrowby\n")


def test_an_address_that_nobody_has_is_told_with_where_to_put_it(
    tunnelbook, wash, monkeypatch, tmp_path
):
    settings = tmp_path / "gitconfig"
    settings.write_text("[user]\n\tname = D\n\temail = d@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 2
    assert "git knows `d@wash.example` here" in tunnelbook.err
    assert "--by PERSON: ada-tarrowby, second-person\n" in tunnelbook.err
    assert "put that address under `emails` of your id in site.yaml" in tunnelbook.err


def test_a_person_unknown_is_told_with_all_there_are_not_the_nearest_alone(tunnelbook, wash):
    words = ("record", "--site", wash, "--done", "look-at-nozzles", "--by", "first-person")
    assert tunnelbook(*words) == 2
    assert "known: ada-tarrowby, second-person" in tunnelbook.err


def test_a_person_is_known_by_address_whatever_the_name(tunnelbook, wash, monkeypatch, tmp_path):
    site = wash / "site.yaml"
    site.write_text(
        site.read_text().replace(
            "    name: Second person\n",
            "    name: Second person\n    emails: [second@wash.example]\n",
        )
    )
    settings = tmp_path / "gitconfig"
    settings.write_text("[user]\n\tname = Ada Tarrowby\n\temail = SECOND@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    tunnelbook("record", "--site", wash, "--done", "look-at-nozzles")
    assert filed(wash)[0].stem.endswith("-second-person")


@pytest.mark.parametrize(("name", "stem"), [("Second person", "-second-person"), ("Shop", "")])
def test_an_address_that_two_people_have_names_neither(
    tunnelbook, wash, monkeypatch, tmp_path, name, stem
):
    """One mailbox for the shop: the name tells them apart, or else whoever files says who."""
    site = wash / "site.yaml"
    text = re.sub(r"\n +emails: .*", "", site.read_text())
    site.write_text(re.sub(r"(\n    name: .*)", r"\1\n    emails: [shop@wash.example]", text))
    settings = tmp_path / "gitconfig"
    settings.write_text(f"[user]\n\tname = {name}\n\temail = shop@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    tunnelbook("record", "--site", wash, "--done", "look-at-nozzles")
    if stem:
        assert filed(wash)[0].stem.endswith(stem)
    else:
        assert filed(wash) == []
        assert "which several people of the site have; say --by PERSON: " in tunnelbook.err


@pytest.fixture
def plate(tmp_path) -> Path:
    """A picture as a phone takes it."""
    path = tmp_path / "plate.png"
    Image.new("RGB", (40, 30), (200, 10, 10)).save(path)
    return path


def test_a_finding_has_its_picture_in_the_site_and_on_the_pages(tunnelbook, wash, plate):
    words = ("--finding", "side-brush=plate is loose", "--photo", f"side-brush={plate}")
    assert tunnelbook("record", "--site", wash, *words, "--dry-run") == 0
    assert not (wash / "photos").exists()

    assert tunnelbook("record", "--site", wash, *words) == 0, tunnelbook.err
    (photo,) = (wash / "photos").rglob("*.jpg")
    path = photo.relative_to(wash).as_posix()
    assert entries(wash)[0]["photos"] == [path]

    assert tunnelbook("build", wash, "--html") == 0
    assert f"[photo](../{path})" in (wash / "book/findings.md").read_text()
    assert f'href="../../{path}"' in (wash / "book/html/findings.html").read_text()
    photo.unlink()
    assert tunnelbook("check", wash) == 1
    assert f"there is no photo `{path}`" in tunnelbook.out


@pytest.mark.parametrize(
    ("photo", "message"),
    [
        ("side-brush=nope.jpg", "nope.jpg: No such file"),
        (f"side-brush={__file__}", "no picture that can be read"),
        ("conveyor=plate.png", "--finding PLACE=TEXT beside it"),
        ("side-brush", "write PLACE=FILE"),
    ],
    ids=["no file", "no picture", "no finding there", "no file named"],
)
def test_a_picture_that_cannot_be_used_files_nothing(tunnelbook, wash, photo, message):
    words = ("--finding", "side-brush=loud", "--photo", photo)
    assert tunnelbook("record", "--site", wash, *words) != 0
    assert message in tunnelbook.err
    assert not filed(wash)
