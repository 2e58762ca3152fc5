"""The files of a new site, from the answers of the people who run it already."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from ledger.files.names import SCHEMAS, SITE_FILE
from ledger.files.yaml_fast import accept
from ledger.files.yaml_write import in_one_line, yaml_text
from ledger.filing.answers import DriveAnswer, LastDone, MachineAnswer, cycle_days
from ledger.filing.fields import as_written
from ledger.filing.new_site import STATIONS_APART, free_ident, plain_ident, whole_site
from ledger.filing.starter import Founder, StarterMachine, minimal_site, programme
from ledger.filing.visit_file import schema_path
from ledger.model.tasks import NOT_KNOWN
from ledger.values import dataclass

_WHY = "Found on the drive when the record began."

_NAMEPLATE = "# from the nameplate; what was not given is an example"

# Example values for a drive of which only its setting was given.
_HZ_LIMITS = {60: (30.0, 60.0), 50: (25.0, 50.0)}
_RATED_RPM = {60: 1740, 50: 1450}


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstSite:
    """What was answered. `people` are by id, the first of them the one who answers.

    `line_rates` has first the rate that the line runs at; `last_done` is by cycle.
    """

    founder: Founder
    name: str
    units: str
    driver_side: str
    in_service: date
    record_begins: date
    hours: Mapping[str, str]
    line_rates: Sequence[float]
    chain: Mapping[str, float]
    people: Mapping[str, Mapping[str, Any]]
    machines: Mapping[str, MachineAnswer]
    last_done: Mapping[str, LastDone]


def machines_by_id(answers: Sequence[MachineAnswer]) -> dict[str, MachineAnswer]:
    """The machines by the ids that their names give, in the order of the walk."""
    found: dict[str, MachineAnswer] = {}
    for answer in answers:
        stem = plain_ident(answer.name) or answer.kind
        found[free_ident(stem, found, numbered=False)] = answer
    return found


def stations(machines: Mapping[str, MachineAnswer]) -> dict[str, int]:
    """The place of each machine in the walk."""
    return {ident: STATIONS_APART * number for number, ident in enumerate(machines, 1)}


def tasks_by_cycle(
    machines: Mapping[str, MachineAnswer], units: str = "us"
) -> dict[str, dict[str, str]]:
    """The titles of the tasks that these machines bring, by id, by cycle, the shortest first."""
    found: dict[str, dict[str, str]] = {}
    for path, text in _programme(machines, units).items():
        if path.startswith("tasks/"):
            task = accept(text)
            found.setdefault(task["every"], {})[_ident(path)] = task["title"]
    return dict(sorted(found.items(), key=lambda item: (cycle_days(item[0]), item[0])))


def first_site(site: FirstSite, tool: str) -> dict[str, str]:
    """Text of every file by path, in the order in which they are to be written."""
    files = _programme(site.machines, site.units)
    for path in list(files):
        ident = _ident(path)
        if path.startswith("equipment/"):
            files[path] = _machine_text(files[path], site.machines[ident], site)
        elif path.startswith("tasks/"):
            files[path] = _task_text(files[path], ident, site)
    for ident, machine in site.machines.items():
        if machine.drive is not None and machine.drive.setting is not None:
            files[f"setpoints/{ident}.yaml"] = _setting_text(machine.drive.setting, site)
    files[SITE_FILE] = _site_text(site)
    return whole_site(files, tool)


def _programme(machines: Mapping[str, MachineAnswer], units: str) -> dict[str, str]:
    at = stations(machines)
    return programme(
        [
            StarterMachine(
                kind=machine.kind,
                ident=ident,
                station=at[ident],
                is_hydraulic=machine.drive is not None and machine.drive.type == "hydraulic",
            )
            for ident, machine in machines.items()
        ],
        schemas=SCHEMAS,
        units=units,
    )


def _ident(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".yaml")


def _with(text: str, key: str, value: Any, remark: str = "") -> str:
    """The file's text with another value under one of its keys, or with the key at its end."""
    block = yaml_text({key: value})
    if remark:
        block = f"{block.rstrip()}   {remark}\n"
    found = re.compile(rf"(?ms)^{key}:.*?(?=^\S|\Z)").search(text)
    if found is None:
        return f"{text.rstrip()}\n{block}"
    blank = "\n" if found[0].endswith("\n\n") else ""
    return f"{text[: found.start()]}{block}{blank}{text[found.end() :]}"


def _machine_text(text: str, machine: MachineAnswer, site: FirstSite) -> str:
    # The bands are an example in any case; at another rate they would not even be that.
    rate = f"{site.line_rates[0]:.10g}"
    text = re.sub(r"(line_rate_per_h: )[\d.]+", rf"\g<1>{rate}", text)
    text = _with(text, "name", machine.name)
    if machine.side:
        text = _with(text, "side", machine.side)
    if machine.drive is not None:
        keys = _drive_keys(accept(text).get("drive", {}), machine.drive, site)
        text = _with(text, "drive", in_one_line(keys), _NAMEPLATE)
    return text


def _drive_keys(example: Mapping[str, Any], drive: DriveAnswer, site: FirstSite) -> dict[str, Any]:
    keys = dict(example) if example.get("type") == drive.type else {}
    for one, other in (("motor_hp", "motor_kw"), ("motor_kw", "motor_hp")):
        if one in drive.plate:
            keys.pop(other, None)
    keys |= {"type": drive.type, **drive.plate}
    if not drive.is_set:
        return keys
    key, value = drive.setting or ("hz", None)
    if drive.type == "electric":
        # The example of the programme is one for 60 Hz.
        base = 60 if site.units == "us" else 50
        rated = drive.plate.get("rated_rpm", keys.get("rated_rpm") if base == 60 else None)
        keys |= {
            "poles": keys.get("poles", 4),
            "rated_rpm": rated or _RATED_RPM[base],
            "base_hz": base,
            "hz_limits": _limits(drive, _HZ_LIMITS[base], value),
        }
    else:
        around = (value / 2, value * 1.5) if value is not None else (0.0, 0.0)
        keys[key.replace("flow", "flow_limits")] = _limits(drive, around, value)
    return keys


def _limits(drive: DriveAnswer, example: tuple[float, float], value: float | None) -> list[float]:
    low, high = drive.limits or example
    if value is not None:
        low, high = min(low, value), max(high, value)
    return [as_written(low), as_written(high)]


def _setting_text(setting: tuple[str, float], site: FirstSite) -> str:
    key, value = setting
    schema = schema_path(SCHEMAS, "setpoints", depth=1)
    change = {
        "from": site.record_begins,
        key: value,
        "line_rate_per_h": site.line_rates[0],
        "why": _WHY,
        "proposed_by": site.founder.ident,
        "taken_over": True,
    }
    return (
        f"# yaml-language-server: $schema={schema}\n"
        "# Newest last. In force once a second person adds approved_by.\n"
        f"{yaml_text([change])}"
    )


def _task_text(text: str, ident: str, site: FirstSite) -> str:
    answer = site.last_done.get(accept(text)["every"])
    if answer is None:
        return text
    machine_at = {at: machine for machine, at in stations(site.machines).items()}
    own = [(at, when) for task, at, when in answer.others if task == ident]
    everywhere = [answer.when, *(when for at, when in own if at is None)]
    lines: list[dict[str, Any]] = [{"when": everywhere[-1]}]
    lines += [{"when": when, "at": [machine_at[int(at)]]} for at, when in own if at is not None]
    lines = lines[lines[0] == {"when": NOT_KNOWN} :]
    return _with(text, "last_done", [in_one_line(line) for line in lines]) if lines else text


def _site_text(site: FirstSite) -> str:
    text = minimal_site(site.founder, site.name, schemas=SCHEMAS)[SITE_FILE]
    rates = [as_written(rate) for rate in site.line_rates]
    line: dict[str, Any] = {"line_rate_per_h": rates[0]}
    if len(rates) > 1:
        line["line_rates_per_h"] = in_one_line(sorted(rates))
    people = {
        ident: {key: in_one_line(value) for key, value in person.items()}
        for ident, person in site.people.items()
    }
    for key, value in (
        ("units", site.units),
        ("driver_side", site.driver_side),
        ("in_service", site.in_service),
        ("line", line | dict(site.chain)),
        ("hours", dict(site.hours)),
        ("people", people),
    ):
        text = _with(text, key, value)
    begins = f"record_begins: {site.record_begins}   # work is asked for from here on"
    return re.sub(r"(?m)^(in_service: .*)$", rf"\1\n{begins}", text, count=1)
