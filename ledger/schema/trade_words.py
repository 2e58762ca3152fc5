"""What people of the trade say for a key or a word of the files (common practice, no source).

Where several keys may be meant, the first in this list that is free in its place is offered.
"""

from collections.abc import Collection, Iterable

_KEYS: tuple[tuple[str, str], ...] = (
    ("at", "when time date datetime timestamp day on"),
    ("by", "who tech technician person worker name author user initials employee operator"),
    ("with", "helper helpers helped_by together_with and assisted_by"),
    ("note", "notes comment comments remark remarks memo text description desc"),
    ("notes", "note comment comments remark remarks memo description desc"),
    ("entries", "entry items work tasks jobs log lines done"),
    ("meters", "meter readings counters counter counts"),
    ("task", "job work what done activity service"),
    ("at", "where place machine location point equipment asset brush unit station"),
    ("except", "without but not excluding skip skipped"),
    ("outcome", "result status state"),
    ("reason", "why because cause"),
    ("why", "reason because cause note comment"),
    ("strokes", "pumps shots squirts pump shot squirt stroke grease grease_strokes"),
    ("counted", "count counts revs revolutions rotations passes turned rounds laps"),
    ("turns", "revs revolutions rotations rounds"),
    ("seconds", "sec secs s time duration secs_counted time_s for period"),
    ("minutes", "min mins duration time_min"),
    ("tachometer_rpm", "rpm speed tach tacho tachometer measured_rpm"),
    ("rated_rpm", "rpm speed nameplate_rpm motor_rpm"),
    ("rpm", "speed band range speed_rpm"),
    ("found_hz", "hz freq frequency herz hertz before_hz was_hz start_hz"),
    ("left_hz", "set_hz after_hz new_hz hz_left to_hz"),
    ("hz", "freq frequency herz hertz found_hz left_hz set_hz setting speed value"),
    ("base_hz", "hz freq frequency hertz"),
    ("found_flow_gpm", "gpm flow flow_gpm"),
    ("found_flow_lpm", "lpm flow_lpm"),
    ("flow_gpm", "gpm flow found_flow_gpm"),
    ("flow_lpm", "lpm found_flow_lpm"),
    ("pressure_psi", "psi pressure"),
    ("pressure_kpa", "kpa"),
    ("current_a", "amps amp ampere amperes current a"),
    ("temperature_c", "temp temperature celsius c temp_c"),
    ("temperature_f", "fahrenheit f temp_f"),
    ("level_percent", "level percent"),
    ("insulation_mohm", "mohm megohm megohms insulation"),
    ("bounces", "bounce bouncing"),
    ("finding", "problem issue fault defect found damage observation trouble"),
    ("urgency", "priority urgent prio severity"),
    ("failed", "failure broken breakdown down"),
    ("stopped_minutes", "downtime down_minutes stopped stop_minutes outage"),
    ("closes", "fixes fixed closed resolves repairs solved"),
    ("changed", "replaced renewed swapped"),
    ("part", "parts item spare material stock"),
    ("used", "qty quantity amount count consumed taken number pieces pcs"),
    ("received", "delivered bought got"),
    ("on_hand", "stock in_stock inventory left remaining"),
    ("corrects", "correction fixes_entry amends"),
    ("name", "title label called description"),
    ("title", "name label task description"),
    ("kind", "type class category"),
    ("type", "kind"),
    ("station", "position pos place order number"),
    ("points", "point parts components"),
    ("in_service", "installed since started commissioned from start"),
    ("out_of_service", "removed retired until ended end"),
    ("motor_hp", "hp horsepower power_hp power"),
    ("motor_kw", "kw power power_kw"),
    ("poles", "pole"),
    ("reduction", "ratio gear_ratio gearbox gear"),
    ("hz_limits", "limits min_max hz_range"),
    ("maker_manual", "manual"),
    ("serial", "serial_number serial_no sn"),
    ("on", "where at machines machine points select selects applies_to"),
    ("every", "interval frequency cycle period repeat how_often schedule each freq"),
    ("lockout", "loto lock_out lockout_tagout locked"),
    ("qualified", "qualification qualifications skills trained"),
    ("uses", "parts materials material consumables needs"),
    ("steps", "how instructions procedure description notes"),
    ("cautions", "caution warnings warning safety hazards"),
    ("starts", "start from begins since"),
    ("ends", "end until to"),
    ("from", "date start since on valid_from effective when day at starts"),
    ("to", "end until till ends"),
    ("until", "to end left ends"),
    ("proposed_by", "by who author proposer proposed"),
    ("approved_by", "approver approved ok_by signed_by"),
    ("evidence", "readings proof because_of based_on"),
    ("unit", "units uom measure"),
    ("units", "unit system measures"),
    ("pack", "pack_size package size per_pack"),
    ("reorder_level", "min minimum reorder min_stock"),
    ("cost", "price"),
    ("place", "location shelf bin where"),
    ("time_zone", "timezone tz zone"),
    ("line_rate_per_h", "line_rate rate cars_per_hour speed cars_per_h vehicles_per_hour"),
    ("people", "persons staff team technicians person users"),
    ("emails", "email mail e_mail"),
)
_VALUES: tuple[tuple[str, str], ...] = (
    ("rotating-bearing", "bearing bearings"),
    ("done", "yes y ok true complete completed finished x"),
    ("not-done", "no n false skipped open incomplete missed"),
    ("now", "urgent immediate immediately asap high critical today"),
    ("soon", "medium normal week"),
    ("planned", "low later someday plan"),
    ("si", "metric"),
    ("us", "imperial usa english american"),
    ("driver", "driver-side drivers"),
    ("passenger", "passenger-side passengers"),
    ("vehicles", "cars car vehicle"),
    ("hours", "h hour hrs"),
    ("electric", "vfd motor electrical"),
    ("hydraulic", "hydraulics oil"),
)


def key_meant(word: str, free: Collection[str]) -> str:
    """The free key that people of the trade mean by `word`, written as keys are, or ""."""
    return _meant(_KEYS, word, free)


def value_meant(word: str, known: Iterable[str]) -> str:
    """The word of a choice that people mean by `word`, or ""."""
    return _meant(_VALUES, word.casefold().replace(" ", "-"), set(known))


def _meant(table: tuple[tuple[str, str], ...], word: str, free: Collection[str]) -> str:
    return next((right for right, said in table if right in free and word in said.split()), "")
