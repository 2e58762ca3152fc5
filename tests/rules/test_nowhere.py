"""Work that counts nowhere or stands twice is told, with the date that shuts it out and what to do."""

import pytest
from sound_site import AS_OF, SOUND, edited, found_in, texts_below, with_file

BRUSH, LOW, SITE = "equipment/brush-p2.yaml", "equipment/low-brush.yaml", "site.yaml"
GREASING = "tasks/grease-bearings.yaml"
NEW = "observations/2026/11/2026-11-24T0710-m-tarrow.yaml"
FROM_MARCH = "in_service: 2026-03-02"


def visit(*entries, at="2026-11-24T07:10"):
    return (
        f"at: {at}\nby: m-tarrow\nentries:\n" + "".join(f"  - {entry}\n" for entry in entries)
    )  # fmt: skip


def asked(files, *entries, path=NEW, at="2026-11-24T07:10"):
    """What is asked of one more visit with these entries: rule, message, expected and remedy."""
    files = {**files, path: visit(*entries, at=at)}
    return [
        (one.rule, one.message, one.expected, one.remedy)
        for one in found_in(files)
        if one.position.path == path
    ]


def everything_from(day, *, key="in_service"):
    """The sound site with its three machines in service from a day, or away from it."""
    files = texts_below(SOUND)
    for path in (BRUSH, LOW, "equipment/conveyor.yaml"):
        kept = [line for line in files[path].splitlines() if not line.startswith("in_service")]
        files[path] = "\n".join([*kept, f"{key}: {day}", ""])
    return files


class TestWorkOnADayOnWhichItHasNoPlace:
    def test_before_a_machine_came(self):
        files = edited(LOW, FROM_MARCH, "in_service: 2026-11-25")
        assert asked(files, "{task: grease-bearings, at: low-brush}") == [
            (
                "counts-nowhere",
                "this counts nowhere: `low-brush` came into service only on 2026-11-25",
                "a day from 2026-11-25",
                "correct the day, or `in_service` in equipment/low-brush.yaml",
            )
        ]

    def test_a_reading_that_counts_all_the_same_is_not_said_to_be_lost(self):
        files = with_file(
            "tasks/check-speed.yaml", f"{texts_below(SOUND)['tasks/check-speed.yaml']}starts: 2027-01-01\n"
        )  # fmt: skip
        ((rule, message, _, _),) = asked(files, COUNT)
        assert rule == "counts-nowhere"
        assert message == (
            "the work counts nowhere, only its reading does: task `check-speed` starts only on "
            "2027-01-01"
        )

    def test_before_the_site_came(self):
        files = edited(SITE, "in_service: 2026-01-05", "in_service: 2026-11-25")
        ((rule, message, _, remedy),) = asked(files, "{task: grease-bearings, at: conveyor}")
        assert (rule, message) == (
            "counts-nowhere",
            "this counts nowhere: `conveyor` came into service only on 2026-11-25",
        )
        assert remedy == "correct the day, or `in_service` in site.yaml"

    def test_before_a_point_came(self):
        files = edited(
            LOW, "{kind: rotating-bearing}", "{kind: rotating-bearing, in_service: 2026-11-25}"
        )
        for at in ("low-brush", "low-brush/shaft-bearing"):
            ((rule, message, _, remedy),) = asked(files, f"{{task: grease-bearings, at: {at}}}")
            assert rule == "counts-nowhere"
            assert "`low-brush/shaft-bearing` came into service only on 2026-11-25" in message
            assert remedy.endswith("`in_service` in equipment/low-brush.yaml")

    def test_before_its_task_starts(self):
        files = with_file(GREASING, f"{texts_below(SOUND)[GREASING]}starts: 2026-11-25\n")
        assert asked(files, "{task: grease-bearings}") == [
            (
                "counts-nowhere",
                "this counts nowhere: task `grease-bearings` starts only on 2026-11-25",
                "a day from 2026-11-25",
                "correct the day, or `starts` in tasks/grease-bearings.yaml",
            )
        ]

    def test_but_not_where_it_counts_for_a_task_that_it_covers(self):
        files = with_file(
            "tasks/strip.yaml",
            "title: Strip\non: {points: rotating-bearing}\nevery: 1 year\nwindow: 1 day\n"
            "covers: [grease-bearings]\nstarts: 2026-11-25\n",
        )
        assert asked(files, "{task: strip, at: low-brush}") == []

    def test_everything_out_of_service_and_no_place_named(self):
        files = everything_from("2026-11-20", key="out_of_service")
        ((rule, message, expected, _),) = asked(files, "{task: grease-bearings}")
        assert (rule, expected) == ("counts-nowhere", "a day before 2026-11-20")
        assert message == (
            "this counts nowhere: `conveyor` was out of service since 2026-11-20, "
            "`brush-p2` was out of service since 2026-11-20, "
            "`low-brush` was out of service since 2026-11-20"
        )

    def test_nothing_in_service_yet_and_no_place_named(self):
        ((rule, message, _, _),) = asked(everything_from("2026-11-25"), "{task: grease-bearings}")
        assert rule == "counts-nowhere"
        assert "`conveyor` came into service only on 2026-11-25" in message

    def test_while_a_machine_is_away(self):
        periods = f"{FROM_MARCH}\nout_of_service: [{{from: 2026-11-20, to: 2026-11-24}}]"
        files = edited(LOW, FROM_MARCH, periods)
        ((rule, message, expected, _),) = asked(files, "{task: grease-bearings, at: low-brush}")
        assert rule == "counts-nowhere"
        assert message.endswith("was out of service from 2026-11-20 to 2026-11-24")
        assert expected == "a day before 2026-11-20, or from 2026-11-25"
        next_day = NEW.replace("11-24", "11-25")
        entry = "{task: grease-bearings, at: low-brush}"
        assert asked(files, entry, path=next_day, at="2026-11-25T07:10") == []

    def test_while_a_point_alone_is_away(self):
        bearing = "shaft-bearing: {kind: rotating-bearing"
        files = edited(LOW, bearing, f"{bearing}, out_of_service: 2026-11-20")
        entry = "{task: grease-bearings, at: low-brush/shaft-bearing}"
        ((rule, message, _, _),) = asked(files, entry)
        assert rule == "counts-nowhere"
        assert message.endswith("`low-brush/shaft-bearing` was out of service since 2026-11-20")

    def test_every_place_excepted(self):
        entry = "{task: grease-bearings, except: [brush-p2, low-brush, conveyor]}"
        ((rule, message, _, _),) = asked(texts_below(SOUND), entry)
        assert rule == "counts-nowhere"
        assert "`except` leaves out every place" in message

    def test_one_place_of_several_counts_and_the_other_is_asked_about(self):
        files = edited(LOW, FROM_MARCH, "in_service: 2026-11-25")
        ((rule, _, _, _),) = asked(files, "{task: grease-bearings, at: [brush-p2, low-brush]}")
        assert rule == "not-in-service"
        assert asked(files, "{task: grease-bearings}") == []

    def test_a_correction_puts_it_right(self):
        files = edited(LOW, FROM_MARCH, "in_service: 2026-11-25")
        files[NEW] = visit("{task: grease-bearings, at: low-brush}")
        again = (
            "{task: grease-bearings, at: brush-p2, corrects: 2026-11-24T0710-m-tarrow#1, reason: x}"
        )
        files[NEW.replace("T0710", "T0711")] = visit(again, at="2026-11-24T07:11")
        assert "2026/11/2026-11-24" not in {one.position.path[13:31] for one in found_in(files)}


class TestVisitsOfAnotherAge:
    def test_a_visit_years_before_the_site(self):
        path = "observations/2016/11/2016-11-24T0710-m-tarrow.yaml"
        found = asked(
            texts_below(SOUND), "{task: grease-bearings}", path=path, at="2016-11-24T07:10"
        )
        assert found == [
            (
                "long-before-service",
                "the visit lies more than a year before the site came into service on 2026-01-05",
                "a day from 2026-01-05",
                "correct the year before it is filed, or `in_service` in site.yaml",
            )
        ]

    def test_several_are_told_once(self):
        files = texts_below(SOUND)
        for year in (2015, 2016):
            files[f"observations/{year}/11/{year}-11-24T0710-m-tarrow.yaml"] = visit(
                "{task: grease-bearings}", at=f"{year}-11-24T07:10"
            )
        (found,) = [one for one in found_in(files) if one.rule == "long-before-service"]
        assert found.message.startswith("2 visits, to 2016-11-24T0710-m-tarrow, lie more than")

    @pytest.mark.parametrize(("year", "rule"), [(2025, "counts-nowhere"), (2036, "in-the-future")])
    def test_a_visit_less_than_a_year_before_or_in_the_future(self, year, rule):
        path = f"observations/{year}/11/{year}-11-24T0710-m-tarrow.yaml"
        entry = "{task: grease-bearings}"
        found = asked(texts_below(SOUND), entry, path=path, at=f"{year}-11-24T07:10")
        assert [one[0] for one in found] == [rule]


COUNT = "{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44}"
GREASED = "{task: grease-bearings, at: brush-p2, strokes: 3}"


class TestAnEntryThatStandsTwiceInOneVisit:
    @pytest.mark.parametrize(
        ("first", "second"),
        [
            pytest.param(GREASED, GREASED, id="the same words"),
            pytest.param(GREASED, "{task: grease-bearings, strokes: 4}", id="a place of all"),
            pytest.param(COUNT, COUNT, id="the same reading"),
            pytest.param("{part: grease-ep2, received: 400}", "{part: grease-ep2, received: 400}", id="the same delivery"),
        ],
    )  # fmt: skip
    def test_is_asked_about(self, first, second):
        ((rule, message, _, remedy),) = asked(texts_below(SOUND), first, second)
        assert (rule, message) == ("stands-twice", "entry 1 of this visit says the same")
        assert "remove one" in remedy

    @pytest.mark.parametrize(
        "second",
        [
            pytest.param(COUNT.replace("84, seconds: 60", "42, seconds: 30"), id="another count"),
            pytest.param(COUNT.replace("44}", "44, note: once more}"), id="said to be another"),
        ],
    )
    def test_is_none_where_it_was_read_again(self, second):
        assert asked(texts_below(SOUND), COUNT, second) == []

    def test_is_none_at_another_place_or_with_another_outcome(self):
        elsewhere = "{task: grease-bearings, at: low-brush}"
        undone = "{task: grease-bearings, at: brush-p2, outcome: not-done, reason: no grease}"
        assert asked(texts_below(SOUND), GREASED, elsewhere, undone) == []

    def test_is_none_once_the_copy_is_struck_out(self):
        files = with_file(NEW, visit(GREASED, GREASED))
        files[NEW.replace("T0710", "T0711")] = visit(
            "{corrects: 2026-11-24T0710-m-tarrow#2, void: true, reason: written twice}",
            at="2026-11-24T07:11",
        )
        assert found_in(files, AS_OF) == ()
