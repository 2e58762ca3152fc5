"""Which shaft speeds a machine can have at all."""

from ledger.model.machines import Machine

_LOW_RPM, _HIGH_RPM = 5.0, 400.0
_WITH_CLOTH = frozenset("curtain wrap side-brush low-brush top-brush buffer tyre-dresser".split())


def plausible_rpm(machine: Machine) -> tuple[float, float] | None:
    """Least and greatest speed of the machine's shaft in r/min; None where nothing is known.

    Speeds of machines with cloth or foam lie well inside; common practice, no source.
    """
    return (_LOW_RPM, _HIGH_RPM) if machine.kind in _WITH_CLOTH else None
