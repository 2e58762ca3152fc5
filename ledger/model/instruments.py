"""What readings are taken with: its limits of error, and when it was last held against better."""

from datetime import date

from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentCheck:
    """A check or calibration. `due` is the last day of the next one in time.

    `correction_percent` is what to add to a reading, as a share of it, and `correction_u_percent`
    its expanded uncertainty (k = 2) by the certificate; None where none was given.
    """

    day: date
    due: date | None = None
    in_limits: bool = True
    certificate: str = ""
    correction_percent: float | None = None
    correction_u_percent: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """An instrument with its checks, the oldest first.

    The maximum permissible error is a share of the reading, or in `unit`, or both; `resolution` is
    the step of its display.
    """

    ident: str
    name: str
    kind: str
    unit: str = ""
    max_error_percent: float | None = None
    max_error: float | None = None
    resolution: float | None = None
    serial: str = ""
    notes: str = ""
    checks: tuple[InstrumentCheck, ...] = ()

    def check_before(self, day: date) -> InstrumentCheck | None:
        """The last check up to a day, that day included."""
        return next((check for check in reversed(self.checks) if check.day <= day), None)

    def has_certificate(self, day: date) -> bool:
        """Whether the last check up to a day has a certificate."""
        check = self.check_before(day)
        return check is not None and bool(check.certificate)

    def overdue_since(self, day: date) -> date | None:
        """The day its check was due, where that is past on a day."""
        last = self.check_before(day)
        return last.due if last is not None and last.due is not None and last.due < day else None

    def found_out_on(self, day: date) -> date | None:
        """The day of the check that puts what was read on a day in doubt.

        All that was read since the last good check before it, and until the next good one.
        """
        last = self.check_before(day)
        if last is not None and not last.in_limits:
            return last.day
        later = next((check for check in self.checks if check.day > day), None)
        return later.day if later is not None and not later.in_limits else None
