"""Work ahead as rows for JSON; minutes, and days by ISO 8601."""

from ledger.book.flat import JsonRow
from ledger.upkeep.ahead.found import Ahead, Move, Week


def ahead_rows(found: Ahead) -> dict[str, list[JsonRow]]:
    return {
        "weeks": [_week(week) for week in found.weeks],
        "moves": [_move(move) for move in found.moves],
    }


def _week(week: Week) -> JsonRow:
    short = week.short
    return {
        "week_of": week.first.isoformat(),
        "daily_minutes": week.daily,
        "minutes": week.minutes,
        "by_qualification": [
            {"qualified": sorted(kind), "minutes": week.by_kind[kind]}
            for kind in sorted(week.by_kind, key=sorted)
        ],
        "present_minutes": week.present,
        "short": None
        if short is None
        else {
            "qualified": [sorted(kind) for kind in short.kinds],
            "minutes": short.minutes - short.present,
        },
    }


def _move(move: Move) -> JsonRow:
    return {
        "work": [{"task": one.task.ident, "at": str(one.place)} for one in move.work],
        "minutes": move.minutes,
        "from_week_of": move.planned.isoformat(),
        "to_week_of": move.better.isoformat(),
    }
