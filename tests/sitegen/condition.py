"""The true state of the example's machines on a day: what the drawn readings are drawn from.

Invented throughout, within what the trade would believe. Months are of 30 days from the first day.
"""

import math
from collections.abc import Mapping
from datetime import date, timedelta
from random import Random

FIRST_DAY = date(2025, 9, 15)
LAST_DAY = date(2026, 11, 24)

BRUSHES = (
    "wrap-d",
    "wrap-p",
    "low-brush-d",
    "low-brush-p",
    "brush-d1",
    "brush-p1",
    "brush-d2",
    "brush-p2",
    "top-brush",
    "buffer",
)
HYDRAULIC = "low-brush-p"

MOTOR_SWAPPED = date(2026, 4, 20)  # brush-d2; it ran backwards until the next morning
STRIPS_RENEWED = date(2026, 5, 19)  # brush-p2, with a new pulley
BELT_RENEWED = date(2026, 4, 28)  # pump stand 1
PACKING_RENEWED = date(2026, 10, 6)  # pump stand 1
NOZZLE_RENEWED = date(2026, 9, 12)  # rinse-arch/nozzle-3
DAMPER_RENEWED = date(2026, 7, 22)  # brush-d1

_RPM_PER_HZ: Mapping[str, tuple[tuple[date, float], ...]] = {
    "wrap-d": ((FIRST_DAY, 1.552),),
    "wrap-p": ((FIRST_DAY, 1.583),),
    "low-brush-d": ((FIRST_DAY, 1.926),),
    "brush-d1": ((FIRST_DAY, 2.026),),
    "brush-p1": ((FIRST_DAY, 2.052),),
    "brush-d2": ((FIRST_DAY, 2.033), (MOTOR_SWAPPED, 2.086)),
    "brush-p2": ((FIRST_DAY, 2.067), (STRIPS_RENEWED, 2.133)),
    "top-brush": ((FIRST_DAY, 1.661),),
    "buffer": ((FIRST_DAY, 1.855),),
}
_HYDRAULIC_CM3 = 160.0
_LPM_PER_GPM = 3.785411784

# New length, loss a month (inches), and the loss already there on the first day.
_STRIP_IN: Mapping[str, tuple[float, float, float]] = {
    "wrap-d": (27.0, 0.19, 0.3),
    "wrap-p": (27.0, 0.21, 0.4),
    "low-brush-d": (15.0, 0.16, 0.2),
    "low-brush-p": (15.0, 0.13, 0.3),
    "brush-d1": (20.0, 0.20, 0.5),
    "brush-p1": (20.0, 0.17, 0.2),
    "brush-d2": (20.0, 0.15, 0.1),
    "brush-p2": (20.0, 0.29, 1.0),
    "top-brush": (22.0, 0.14, 0.3),
    "buffer": (18.0, 0.11, 0.2),
}

# Flow of a nozzle as a share of its new flow: on the first day, and growth a month.
_NOZZLE_SHARE: Mapping[str, tuple[float, float]] = {
    "rinse-arch/nozzle-3": (1.000, 0.0115),
    "rinse-arch/nozzle-5": (1.005, 0.0055),
    "rinse-arch/nozzle-1": (1.000, 0.0030),
    "soak-arch/nozzle-1": (1.010, 0.0030),
}
_CLOGGED = ("soak-arch/nozzle-2", date(2026, 2, 20), date(2026, 3, 14), 0.58)


def months(day: date, since: date = FIRST_DAY) -> float:
    return (day - since) / timedelta(days=30)


def rpm_per_hz(machine: str, day: date) -> float:
    return [ratio for since, ratio in _RPM_PER_HZ[machine] if since <= day][-1]


def volumetric_efficiency(day: date) -> float:
    """The hydraulic motor wears, slowly at first."""
    share = months(day) / months(LAST_DAY)
    return 0.95 - 0.015 * share - 0.05 * share**2


def speed_rpm(machine: str, day: date, setting: float) -> float:
    """Shaft speed at a setting: Hz, or gpm for the hydraulic brush."""
    if machine == HYDRAULIC:
        litres = setting * _LPM_PER_GPM
        return 1000 * litres * volumetric_efficiency(day) / _HYDRAULIC_CM3
    return rpm_per_hz(machine, day) * setting


def turning(machine: str) -> str:
    return "with" if machine.startswith(("wrap", "buffer")) else "against"


def strip_in(machine: str, day: date) -> float:
    new, a_month, start = _STRIP_IN[machine]
    if machine == "brush-p2" and day >= STRIPS_RENEWED:
        return new - a_month * months(day, STRIPS_RENEWED)
    return new - start - a_month * months(day)


def nozzle_share(point: str, day: date) -> float:
    place, since, until, share = _CLOGGED
    if point == place and since <= day < until:
        return share
    if point == "rinse-arch/nozzle-3" and day >= NOZZLE_RENEWED:
        return 1.0 + 0.0115 * months(day, NOZZLE_RENEWED)
    start, a_month = _NOZZLE_SHARE.get(point, (1.0, 0.0015))
    return start + a_month * months(day)


def conveyor_chain_in(day: date, pitches: int) -> float:
    """4 in pitch; 0.3 % long on the first day and 0.11 % more each month."""
    return 4 * pitches * (1 + (0.3 + 0.11 * months(day)) / 100)


def belt_deflection_in(machine: str, day: date) -> float:
    if machine == "compressor":
        return 0.31 + 0.005 * months(day)
    since = BELT_RENEWED if day >= BELT_RENEWED else FIRST_DAY
    return 0.25 + 0.015 * months(day, since)


def pump_pressure_psi(gauge: str, day: date) -> float:
    match gauge:
        case "pump-stand-1/gauge":
            worn = months(day, date(2026, 7, 1)) if day < PACKING_RENEWED else 0
            return 900 - 14 * max(worn, 0)
        case "pump-stand-2/gauge":
            return 60
        case "hydraulic-unit/gauge":
            return 920
        case _:
            return 150 + 8 * (months(day) % 3)


def damper_bounces(machine: str, day: date) -> int:
    return 2 if machine == "brush-d1" and date(2026, 7, 1) <= day < DAMPER_RENEWED else 0


def motor_current_a(machine: str, day: date, full_load_a: float) -> float:
    """A share of full load that is the machine's own; the first motor of brush D2 was failing."""
    if machine == "brush-d2" and day < MOTOR_SWAPPED:
        return full_load_a * (0.78 + 0.05 * months(day))
    share = 0.58 + 0.03 * (sum(machine.encode()) % 9)
    return full_load_a * share


def insulation_mohm(machine: str) -> int:
    return 2 if machine == "brush-d2" else 180 + 7 * (sum(machine.encode()) % 90)


def motor_surface_f(day: date) -> float:
    """The hydraulic motor of the low brush, hotter as it leaks inside."""
    return 118 + 1.3 * months(day)


def plant_meters(day: date, vehicles: int) -> dict[str, int]:
    """The faces of the meters of water and energy; since June less water is reclaimed.

    A day takes 96 kWh without a vehicle, and each vehicle 0.41 kWh more.
    """
    age = (day - FIRST_DAY).days
    less = max(0, (day - date(2026, 6, 1)).days)
    return {
        "fresh_water": round(1_204_300 + 16_400 * age + 2_100 * less),
        "energy": round(88_400 + 96 * age + 0.41 * vehicles),
        "reclaimed_water": round(3_310_700 + 29_500 * age - 1_900 * less),
    }


def membrane(day: date, rng: Random) -> dict[str, dict[str, float]]:
    """What the taps of the membrane show: it fouls by 14 % in a year, and cold water gives less."""
    age = (day - FIRST_DAY).days
    celsius = 14 + 7 * math.sin(2 * math.pi * (day.timetuple().tm_yday - 110) / 365)
    share = (1 - 0.14 * age / 365) * math.exp(3020 * (1 / 298.15 - 1 / (273.15 + celsius)))
    flow = 4.6 * share * 168 / 150 * (1 + rng.gauss(0, 0.01))
    return {
        "feed": {
            "conductivity_us_cm": round(512 + rng.gauss(0, 12)),
            "pressure_psi": round(184 + rng.gauss(0, 1)),
            "temperature_f": round(celsius * 1.8 + 32),
            "chlorine_ppm": 0,
        },
        "product": {
            "conductivity_us_cm": round(13 + 6 * age / 365 + rng.gauss(0, 0.6), 1),
            "flow_gpm": round(flow, 1),
        },
        "reject": {
            "conductivity_us_cm": round(1180 + rng.gauss(0, 25)),
            "flow_gpm": round(0.7 * flow, 1),
            "pressure_psi": round(172 + rng.gauss(0, 1)),
        },
    }


def dilution(day: date) -> Mapping[str, tuple[float, int, int]]:
    """Parts of water, those wanted, and the drops of the sample mixed so; the wax tip clogs."""
    return {
        "injector-presoak": (92, 90, 22),
        "injector-foam": (148, 150, 7),
        "injector-wax": (210 if day < date(2026, 9, 1) else 280, 210, 24),
    }
