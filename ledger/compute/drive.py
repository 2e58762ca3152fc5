"""Induction motor, frequency drive and reduction: speeds by nameplate, and what to beware of."""

import enum

from ledger.compute.quantities import check_above_zero
from ledger.compute.ratio import RatioPrior

NAMEPLATE_RELATIVE_U = 0.05
"""Relative standard uncertainty of a ratio worked out from nameplates.

Common practice, no source: a reduction stated as "about 20", a belt's slip and a motor's load
together are trusted to one part in ten with two standard uncertainties.
"""

SELF_COOLED_LEAST_SHARE = 0.5
"""Share of base frequency below which a motor's own fan is in doubt (drive makers' guides)."""


class DriveCaution(enum.StrEnum):
    """What to ask the maker of the motor before running at a frequency."""

    SELF_COOLED_SLOW = (
        "below half of base frequency a motor cooled by its own fan may run hot on a constant "
        "load: ask the motor's maker"
    )
    ABOVE_BASE = (
        "above base frequency the motor gives less torque, and bearings and guards see more "
        "speed: ask the makers of motor and machine"
    )


def synchronous_rpm(hz: float, poles: int) -> float:
    """Synchronous speed n_s = 120 f/p (IEC 60034-1; NEMA MG 1).

    Raises:
        ValueError: the frequency is not above 0, or poles is not an even number of 2 or more.
    """
    check_above_zero("hz", hz)
    if poles < 2 or poles % 2:
        raise ValueError(f"expected an even number of poles, 2 or more, not {poles!r}")
    return 120 * hz / poles


def slip(rated_rpm: float, base_hz: float, poles: int) -> float:
    """Slip s = (n_s - n)/n_s as a fraction (IEC 60034-1; NEMA MG 1).

    Raises:
        ValueError: as `synchronous_rpm`, or the rated speed is not above 0.
    """
    check_above_zero("rated_rpm", rated_rpm)
    synchronous = synchronous_rpm(base_hz, poles)
    return (synchronous - rated_rpm) / synchronous


def shaft_rpm(motor_rpm: float, reduction: float) -> float:
    """Speed behind a reduction of motor turns to one shaft turn.

    Raises:
        ValueError: the reduction is not above 0.
    """
    check_above_zero("reduction", reduction)
    return motor_rpm / reduction


def slip_rpm_at_shaft(rated_rpm: float, base_hz: float, poles: int, reduction: float) -> float:
    """Speed lost to slip at rated load, seen behind the reduction, in r/min.

    Raises:
        ValueError: as `slip` and `shaft_rpm`.
    """
    lost = slip(rated_rpm, base_hz, poles) * synchronous_rpm(base_hz, poles)
    return shaft_rpm(lost, reduction)


def nameplate_prior(
    rated_rpm: float,
    base_hz: float,
    reduction: float,
    *,
    relative_u: float = NAMEPLATE_RELATIVE_U,
) -> RatioPrior:
    """Shaft r/min per Hz from the nameplates of motor and reduction, widely uncertain.

    Raises:
        ValueError: a quantity is not above 0.
    """
    check_above_zero("base_hz", base_hz)
    check_above_zero("rated_rpm", rated_rpm)
    check_above_zero("relative_u", relative_u)
    ratio = shaft_rpm(rated_rpm, reduction) / base_hz
    return RatioPrior(rpm_per_unit=ratio, u_rpm_per_unit=relative_u * ratio)


def drive_cautions(hz: float, base_hz: float, *, self_cooled: bool) -> tuple[DriveCaution, ...]:
    """What to beware of at a frequency; an empty answer does not say that it is safe.

    Raises:
        ValueError: a frequency is not above 0.
    """
    check_above_zero("hz", hz)
    check_above_zero("base_hz", base_hz)
    found = []
    if self_cooled and hz < SELF_COOLED_LEAST_SHARE * base_hz:
        found.append(DriveCaution.SELF_COOLED_SLOW)
    if hz > base_hz:
        found.append(DriveCaution.ABOVE_BASE)
    return tuple(found)
