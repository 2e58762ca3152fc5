"""The book of a group: what its sites' exports say, as pages for the same renderers."""

from collections.abc import Callable, Mapping, Sequence
from itertools import groupby
from typing import Any, TypeAlias

from ledger.book import addresses, words
from ledger.book.blocks import (
    Block,
    Bullets,
    Column,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Table,
    right,
)
from ledger.book.html_site import render_site
from ledger.compute.numbers import fixed, significant
from ledger.compute.reliability import MeanTimeBetweenFailures, mean_time_between_failures
from ledger.group.exports import Answer
from ledger.site.rendering import pages_as_files

LEVEL = 0.90
"""Confidence level of the limits of a failure rate."""

_WORK, _SETTINGS = "work.md", "settings.md"


NotCurrent: TypeAlias = tuple[str, str, str]
"""A site whose files could not be used, why, and the day of its last export, "" without one."""


def group_files(
    name: str, answers: Mapping[str, Answer], troubles: Sequence[NotCurrent], *, html: bool
) -> dict[str, str]:
    """Every file of the book by its path; `answers` is empty where no site has an export."""
    as_of = ""
    parts = [(addresses.FRONT_PAGE, f"{name}: the group", _front(answers, troubles))]
    if answers:
        as_of = words.format_as_of(max(row["as_of"] for row in answers["sites"]))
        parts += [
            (_WORK, "Overdue and in time", _work(answers)),
            (_SETTINGS, "Settings", _settings(answers)),
            (addresses.DRIFT_PAGE, "Drift", _drift(answers["drift"])),
            (addresses.RELIABILITY_PAGE, "Failures and stops", _failures(answers["failures"])),
            (addresses.PARTS_PAGE, "Parts", _parts(answers["parts"])),
        ]
    pages = [Page(path=path, title=title, blocks=of, as_of=as_of) for path, title, of in parts]
    files = pages_as_files(pages)
    if html:
        files |= render_site(pages, {}, site_name=name)
    return dict(sorted(files.items()))


def _front(answers: Mapping[str, Answer], troubles: Sequence[NotCurrent]) -> list[Block]:
    blocks: list[Block] = []
    if troubles:
        blocks += [
            Heading(2, "Not current"),
            Paragraph("What is shown of these sites is old, or nothing."),
            Table.of(
                troubles,
                ("Site", lambda one: one[0]),
                ("What is here", lambda one: f"as of {one[2]}" if one[2] else "nothing"),
                ("Why", lambda one: one[1]),
            ),
        ]
    sites = answers.get("sites", [])
    blocks += [
        Heading(2, "Sites"),
        Table.of(
            sites,
            ("Site", lambda row: row["site"]),
            ("Name", lambda row: row["name"]),
            ("As of", lambda row: words.format_day(row["as_of"])),
            ("Last visit", lambda row: words.or_dash(row["last_filed"], words.format_day)),
            (right("Overdue"), lambda row: _count(row["overdue"], "overdue")),
            (right("Out of band"), lambda row: _count(row["out_of_band"], "out of band")),
            (right("Open findings"), lambda row: _count(row["open_findings"], "finding")),
            (right("Drifting"), lambda row: _count(row["drifting"], "near its limit")),
            (right("In time"), _share),
        ),
        Bullets(
            [
                (Link("Overdue and in time", _WORK), ": tasks, and the share done in time."),
                (Link("Settings", _SETTINGS), ": out of band, and like machines set otherwise."),
                (Link("Drift", addresses.DRIFT_PAGE), ": what has moved or nears a limit."),
                (Link("Failures", addresses.RELIABILITY_PAGE), ": for a thousand vehicles."),
                (Link("Parts", addresses.PARTS_PAGE), ": on hand at each site."),
            ]
        ),
    ]
    if not sites:
        blocks[-2:] = [Paragraph("No site has an export yet.")]
    return blocks


def _listed(
    rows: Answer, *columns: tuple[Column | str, Callable[[Mapping[str, Any]], Spans]]
) -> Block:
    return Table.of(rows, *columns) if rows else Paragraph("Nothing.")


def _count(number: int, state: str) -> str:
    return words.marked(state, str(number)) if number else words.NONE


def _share(row: Mapping[str, Any]) -> str:
    """`93 % of 210`, of the due dates that are settled."""
    dates = int(row["due_dates"] or 0)
    return f"{fixed(100 * row['in_time'] / dates, 0)} % of {dates:,}" if dates else words.NONE


def _work(answers: Mapping[str, Answer]) -> list[Block]:
    return [
        Heading(2, "Overdue"),
        _listed(
            answers["overdue"],
            ("Site", lambda row: row["site"]),
            ("Task", lambda row: row["title"]),
            (right("Places"), lambda row: str(row["places"])),
            (right("Longest, days"), lambda row: words.or_dash(row["longest_days"], str)),
        ),
        Heading(2, "Like tasks"),
        Paragraph("Tasks that several sites have, over all of them."),
        _listed(
            answers["like_tasks"],
            ("Task", lambda row: row["title"]),
            (right("Sites"), lambda row: str(row["sites"])),
            (right("Overdue at"), lambda row: _count(row["overdue_at"], "overdue")),
            (right("In time"), _share),
        ),
        Heading(2, "Done in time"),
        Paragraph(
            "Of the due dates of the last twelve months and this one. The days allowed are "
            "each site's own choice, so a share says how a site keeps to its plan, not whose "
            "plan is better."
        ),
        _listed(
            answers["in_time"],
            ("For", lambda row: row["for_what"]),
            ("Site", lambda row: row["site"]),
            (right("In time"), _share),
            (right("Not done"), lambda row: f"{int(row['not_done']):,}"),
        ),
    ]


def _settings(answers: Mapping[str, Answer]) -> list[Block]:
    blocks: list[Block] = [
        Heading(2, "Out of band"),
        Paragraph("Drives whose last speed was out of its band, in r/min."),
        _listed(
            answers["out_of_band"],
            ("Site", lambda row: row["site"]),
            ("Machine", lambda row: row["name"]),
            ("Read", lambda row: words.format_day(row["read_on"])),
            (right("Speed"), _speed),
            (
                right("Band"),
                lambda row: words.format_range(row["band_low_rpm"], row["band_high_rpm"]),
            ),
            (right("Setting"), lambda row: _amount(row["setting"], row["unit"])),
        ),
        Heading(2, "Like machines that are set otherwise"),
        Paragraph(
            "Settings in force of like machines, at one line rate, at sites where they "
            "differ. Another motor, gear or brush may well ask for another setting."
        ),
    ]
    like = groupby(
        answers["settings"], lambda row: (row["alike"], row["unit"], row["line_rate_per_h"])
    )
    for (alike, unit, rate), rows in like:
        blocks += [
            Heading(3, f"{alike}, {unit}, {words.format_number(rate)} vehicles an hour"),
            Table.of(
                list(rows),
                ("Site", lambda row: row["site"]),
                (right("Machines"), lambda row: str(row["machines"])),
                (right("Lowest"), lambda row: _amount(row["lowest"], row["unit"])),
                (right("Highest"), lambda row: _amount(row["highest"], row["unit"])),
            ),
        ]
    return blocks


def _speed(row: Mapping[str, Any]) -> str:
    return f"{fixed(row['read_rpm'], 1)} ± {fixed(row['expanded_uncertainty_rpm'], 1)}"


def _amount(value: float, unit: str) -> str:
    return f"{significant(value, 3)} {unit}"


def _drift(rows: Answer) -> list[Block]:
    return [
        _listed(
            rows,
            ("Site", lambda row: row["site"]),
            ("Place", lambda row: row["place"]),
            ("What", lambda row: row["quantity"]),
            (right("Signals"), lambda row: str(row["signals"])),
            ("Last", lambda row: words.or_dash(row["last_signal"], words.format_day)),
            (
                "Reaches a limit",
                lambda row: words.or_dash(row["reaches_limit_on"], words.format_day),
            ),
            ("Outlook", lambda row: row["says"] or words.NONE),
        )
    ]


def _failures(rows: Answer) -> list[Block]:
    return [
        Paragraph(
            "Findings of lost function for a thousand vehicles, over the whole months of the "
            "last twelve in which the meter was read. The limits hold the true rate with 90 % "
            "confidence, for failures that come at a constant rate. A site is said to fail "
            "more or less often than the others together where their limits do not overlap; "
            "of all others the figures cannot say. Sites are in the order of their ids."
        ),
        _listed(
            rows,
            ("Site", lambda row: row["site"]),
            (right("Months"), lambda row: str(row["months"])),
            (right("Vehicles"), lambda row: f"{row['vehicles']:,.0f}"),
            (right("Failures"), lambda row: str(int(row["failures"]))),
            (right("For a thousand"), lambda row: _format_rate(_rate(row))),
            ("Beside the others", lambda row: beside_others(row, rows)),
            (right("Stopped, h"), lambda row: fixed(row["stopped_minutes"] / 60, 1)),
            (right("By machines, h"), lambda row: fixed(row["machine_minutes"] / 60, 1)),
            (right("Tied back, h"), lambda row: fixed(row["tied_back_h"], 1)),
            (right("Cost of stops"), _cost),
        ),
    ]


def _rate(*rows: Mapping[str, Any]) -> MeanTimeBetweenFailures | None:
    """Thousands of vehicles between failures, with limits; None where none were counted."""
    vehicles = sum(row["vehicles"] for row in rows)
    if not vehicles > 0:
        return None
    failures = sum(int(row["failures"]) for row in rows)
    return mean_time_between_failures(vehicles / 1000, failures, level=LEVEL)


def _format_rate(found: MeanTimeBetweenFailures | None) -> str:
    """`0.12 (0.05 to 0.25)`, or `below 0.3` without a failure."""
    if found is None:
        return words.NONE
    high = significant(1 / found.lower_h, 2)
    if found.estimate_h is None:
        return f"below {high}"
    low = significant(1 / found.upper_h, 2)
    return f"{significant(1 / found.estimate_h, 2)} ({low} to {high})"


def beside_others(row: Mapping[str, Any], rows: Answer) -> str:
    """Whether a site fails more or less often than all others together, if that can be said."""
    own, others = _rate(row), _rate(*(one for one in rows if one is not row))
    if own is None or others is None:
        return "cannot say"
    if own.upper_h < others.lower_h:
        return "more often"
    return "less often" if own.lower_h > others.upper_h else "cannot say"


def _cost(row: Mapping[str, Any]) -> str:
    low, high = row["cost_low"], row["cost_high"]
    if low is None or high is None:
        return words.NONE
    amount = f"{high:,.0f}" if low == high else f"{low:,.0f} to {high:,.0f}"
    return f"{amount} {row['currency']}"


def _parts(rows: Answer) -> list[Block]:
    return [
        Paragraph("Parts that several sites keep by the same id, or that a site has to order."),
        _listed(
            rows,
            ("Part", lambda row: row["part"]),
            ("Site", lambda row: row["site"]),
            ("Name", lambda row: row["name"]),
            (right("On hand"), lambda row: _stock(row["on_hand"], row["unit"])),
            (right("On order"), lambda row: _stock(row["on_order"], row["unit"])),
            (right("Order at"), lambda row: _stock(row["reorder_level"], row["unit"])),
            (
                "State",
                lambda row: words.marked("to order") if row["to_order"] else words.NONE,
            ),
        ),
    ]


def _stock(value: float | None, unit: str) -> str:
    return words.or_dash(value, lambda amount: f"{words.format_number(round(amount, 2))} {unit}")
