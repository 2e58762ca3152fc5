"""The line and its brushes: the rate by chain and pitch, and how cloth meets each vehicle."""

from collections.abc import Sequence

from ledger.compute import line as cloth
from ledger.compute.band import SURE, p_in_band, wider_than
from ledger.compute.line import ClothRow, Turning
from ledger.compute.numbers import Estimate, round_to_step
from ledger.compute.ratio import predict, setting_for
from ledger.compute.speed import e_number
from ledger.compute.tuning import few_disagree
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.readings import TURNING
from ledger.model.site import DriverSide, Line
from ledger.model.visits import Entry
from ledger.upkeep.speeds.found import SpeedResult, band_points, by_machine, target_of
from ledger.upkeep.speeds.ratios import DriveRatio, drive_ratio
from ledger.upkeep.tuning.found import DriveLimits, drive_limits, rates_of
from ledger.values import dataclass

STATED_WITHIN = 0.05
"""Difference up to which a stated rate agrees with chain and pitch; common practice, no source.

A stated rate is a round number, and vehicles are not loaded to the centimetre.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RateCheck:
    """A line rate reckoned or timed, beside the rate that the site states.

    `fraction` is how far the stated one lies above. They agree within `STATED_WITHIN`, or where
    the uncertainty of what was found covers the difference (|E_n| ≤ 1, the stated rate exact).
    """

    stated_per_h: float
    found: Estimate

    @property
    def fraction(self) -> float:
        return self.stated_per_h / self.found.value - 1

    @property
    def agrees(self) -> bool:
        if abs(self.fraction) <= STATED_WITHIN:
            return True
        found = self.found
        return abs(e_number(self.stated_per_h, 0.0, found.value, 2 * found.u)) <= 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothAtRate:
    """One brush at one line rate.

    `same_cloth` keeps cloth per vehicle as at the site's line rate, held in the band. `setting` is
    the drive's step nearest to that whose predicted speed is in the band at 95 % probability, or
    the likeliest, and None where the ratio is unknown or nothing can be set. `rpm` is the speed
    predicted there, else that of `same_cloth`; share, cloth speed and contacts are at it, and
    None where file or line leave them open.
    """

    same_cloth: ClothRow
    setting: float | None
    rpm: float
    p_in_band: float | None
    line_m_s: float | None
    edge_m_s: float | None
    cloth_m_s: float | None
    contacts_per_m: float | None

    @property
    def cloth_share(self) -> float:
        """Cloth per vehicle against that at the site's line rate."""
        return self.rpm / self.same_cloth.same_cloth_rpm


@dataclass(frozen=True, slots=True, kw_only=True)
class BrushOnLine:
    """One brush: which way it must be seen to turn, which way it last did, and its cloth."""

    machine: Machine
    unit: str
    expected: tuple[tuple[str, Turning], ...]
    last_seen: Entry | None
    rates: tuple[ClothAtRate, ...]

    @property
    def turned_wrong(self) -> bool:
        """Whether the last look found it turning the other way."""
        if self.last_seen is None or not self.machine.turns:
            return False
        return self.last_seen.readings[TURNING] != self.machine.turns


@dataclass(frozen=True, slots=True, kw_only=True)
class LineMatching:
    """`check` is None where the site states no chain speed or no pitch."""

    check: RateCheck | None
    rates_per_h: tuple[float, ...]
    brushes: tuple[BrushOnLine, ...]


def line_matching(
    ledger: Ledger,
    results: Sequence[SpeedResult],
    line_rates_per_h: Sequence[float] = (),
    only: Machine | None = None,
) -> LineMatching:
    """The line and every machine with a band, in walking order; from the sources alone.

    With `only` of that machine alone.

    Raises:
        ValueError: a line rate is not above 0.
    """
    rates = tuple(sorted({*(line_rates_per_h or rates_of(ledger))}))
    of_machine = by_machine(results)
    return LineMatching(
        check=stated_check(ledger.site.line),
        rates_per_h=rates,
        brushes=tuple(
            _brush(ledger, machine, of_machine[machine.ident], rates)
            for machine in (ledger.machines.values() if only is None else [only])
            if band_points(machine)
        ),
    )


def stated_check(line: Line) -> RateCheck | None:
    """The site's rate against its own chain speed and pitch."""
    if line.chain_speed_m_per_s is None or line.vehicle_pitch_m is None:
        return None
    chain = Estimate(value=line.chain_speed_m_per_s)
    return RateCheck(
        stated_per_h=line.line_rate_per_h, found=cloth.line_rate(chain, line.vehicle_pitch_m)
    )


def line_speed_at(line: Line, line_rate_per_h: float) -> float | None:
    """Speed of the conveyor at a line rate in m/s, at the pitch of the site.

    Without a pitch the stated chain speed is scaled from the stated rate; None without either.
    """
    if line.vehicle_pitch_m is not None:
        return line_rate_per_h * line.vehicle_pitch_m / 3600
    if line.chain_speed_m_per_s is not None:
        return line.chain_speed_m_per_s * line_rate_per_h / line.line_rate_per_h
    return None


def expected_turnings(machine: Machine, driver: DriverSide) -> tuple[tuple[str, Turning], ...]:
    """The sense each part of a machine must be seen to turn in, by its side; empty if not stated.

    A machine on both sides has one brush on each.
    """
    if not machine.turns or not machine.side:
        return ()
    sides = ("driver", "passenger") if machine.side == "both" else (machine.side,)
    on_left = driver is DriverSide.LEFT
    return tuple(
        (side, cloth.expected_turning(side, machine.turns, driver_on_left=on_left))
        for side in sides
    )


def _brush(
    ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], rates: Sequence[float]
) -> BrushOnLine:
    line = ledger.site.line
    points = band_points(machine)
    reference_rpm = target_of(machine, line.line_rate_per_h)
    rows = reference_rpm and cloth.same_cloth_table(
        rates, points, reference_rate_per_h=line.line_rate_per_h, reference_rpm=reference_rpm
    )
    ratio = drive_ratio(ledger, machine, results)
    limits = drive_limits(machine)
    seen = [one for one in ledger.detailed_at(machine.ident) if one.readings[TURNING]]
    found = []
    for row in rows or ():
        step = None if limits is None else _step_in_band(ratio, limits, row)
        found.append(_cloth(machine, row, step, line_speed_at(line, row.line_rate_per_h)))
    return BrushOnLine(
        machine=machine,
        unit=ratio.unit,
        expected=expected_turnings(machine, ledger.site.driver_side),
        last_seen=seen[-1] if seen else None,
        rates=tuple(found),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    setting: float
    rpm: float
    p_in_band: float


def _step_in_band(ratio: DriveRatio, limits: DriveLimits, row: ClothRow) -> _Step | None:
    """The step nearest to the wanted speed that is surely in the band, else the likeliest.

    A speed held at a limit of the band would be outside as often as inside: from there steps are
    taken towards the middle.
    """
    band = row.band
    # Few readings that disagree tell no step worth acting on (`tuning.CountFirst`).
    if ratio.fit is None or few_disagree(ratio.fit):
        return None
    inward = limits.step if row.rpm < band.middle else -limits.step
    wanted = setting_for(ratio.fit, row.rpm)
    tried: list[_Step] = []
    while True:
        setting = round_to_step(wanted, limits.step, limits.lowest, limits.highest)
        if tried and setting == tried[-1].setting:
            break
        speed = predict(ratio.fit, setting, slip_rpm=ratio.slip_rpm)
        if wider_than(speed, band):
            return None
        chance = p_in_band(speed.rpm, speed.u_rpm, band, speed.dof)
        tried.append(_Step(setting=setting, rpm=speed.rpm, p_in_band=chance))
        if chance >= SURE or (speed.rpm - band.middle) * inward >= 0:
            break
        wanted = setting + inward
    sure = tried[-1]
    return sure if sure.p_in_band >= SURE else max(tried, key=lambda step: step.p_in_band)


def _cloth(
    machine: Machine, row: ClothRow, step: _Step | None, line_m_s: float | None
) -> ClothAtRate:
    diameter = machine.brush.diameter_m if machine.brush else None
    strips = machine.brush.strips_around if machine.brush else None
    rpm = row.rpm if step is None else step.rpm
    return ClothAtRate(
        same_cloth=row,
        setting=None if step is None else step.setting,
        rpm=rpm,
        p_in_band=None if step is None else step.p_in_band,
        line_m_s=line_m_s,
        edge_m_s=None if diameter is None else cloth.edge_speed_m_s(diameter, rpm),
        cloth_m_s=None
        if diameter is None or line_m_s is None or not machine.turns
        else cloth.cloth_speed_m_s(diameter, rpm, line_m_s, against=machine.turns == "against"),
        contacts_per_m=None
        if strips is None or not line_m_s
        else cloth.contacts_per_m(strips, rpm, line_m_s),
    )
