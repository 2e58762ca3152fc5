"""The answers of `load` as plain names and values, for JSON; SI units, motor sizes in hp."""

from collections.abc import Sequence

from ledger.book.flat import JsonRow, fields_of
from ledger.compute.load import CONVERSION_CAUTION, PanelLoad
from ledger.compute.numbers import answer_or_none
from ledger.upkeep.load import found as load
from ledger.upkeep.load.found import NoConversion, ToElectric, ToOil


def load_row(found: load.SiteLoad) -> JsonRow:
    """The whole site: panels and conversions, unrounded."""
    return {
        "panels": panel_rows(found.panels),
        "conversions": [conversion_row(one) for one in found.conversions],
    }


def panel_rows(reports: Sequence[load.PanelReport]) -> list[JsonRow]:
    return [
        {
            "panel": report.panel.ident,
            "volts": report.panel.volts,
            "motors": [
                {
                    "machine": motor.machine.ident,
                    **fields_of(motor, "size_hp", "table_a", "nameplate_a", "input_a"),
                }
                for motor in report.motors
            ],
            "by_drive_inputs_a": report.by_drive_inputs,
            "not_counted": [machine.ident for machine in report.uncounted],
            **_load(report.load),
        }
        for report in reports
    ]


def conversion_row(found: load.Conversion) -> JsonRow:
    match found:
        case NoConversion():
            return {"machine": found.machine.ident, "to": None, "because": found.why}
        case ToElectric():
            return _to_electric(found)
        case ToOil():
            return _to_oil(found)


def speed_change_row(change: load.SpeedChange) -> JsonRow:
    return {
        "machine": change.machine.ident,
        "law": change.law.value,
        "from": change.from_speed,
        "to": change.to_speed,
        "flow_share": change.shares.flow,
        "pressure_share": change.shares.pressure,
        "power_share": change.shares.power,
        "power_kw_at_most": change.power_kw,
    }


def _to_electric(found: ToElectric) -> JsonRow:
    needs = found.needs
    return {
        "machine": found.machine.ident,
        "to": "electric",
        **fields_of(found, "flow_lpm", "pressure_kpa"),
        **fields_of(found, "volumetric_efficiency", "share_of_base_frequency"),
        **fields_of(needs, "shaft_rpm", "torque_nm", "shaft_kw", "motor_kw"),
        "motor_hp": answer_or_none(needs.motor_hp),
        "full_load_a": answer_or_none(needs.full_load_a),
        "volts": found.volts,
        "flow_released_lpm": found.flow_lpm,
        "oil_released_kw": needs.oil_released_kw,
        "panels": [
            {
                "panel": on.panel.ident,
                "now": _load(on.load),
                "then": None if then is None else _load(then),
            }
            for on, then in found.panels
        ],
        "caution": CONVERSION_CAUTION,
    }


def _to_oil(found: ToOil) -> JsonRow:
    needs = found.needs
    return {
        "machine": found.machine.ident,
        "to": "hydraulic",
        **fields_of(found, "motor_hp", "volts", "pressure_kpa"),
        **fields_of(found, "share_of_base_frequency", "shaft_rpm"),
        **fields_of(needs, "torque_nm", "shaft_kw", "displacement_cm3"),
        "flow_lpm": needs.flow_l_min,
        **fields_of(needs, "oil_kw", "pump_kw"),
        "amps_released": answer_or_none(needs.amps_released),
        "caution": CONVERSION_CAUTION,
    }


def _load(panel: PanelLoad) -> JsonRow:
    return fields_of(panel, "connected_a", "required_a", "rating_a", "spare_a")
