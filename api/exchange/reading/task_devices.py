"""Combines among the devices of task data, with what they say of themselves.

A NAME belongs to one device on the bus; a combine shows several (base machine, header, monitors). Those of one serial,
manufacturer code and device class instance are one machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from lxml import etree

from api.exchange.reading import names
from api.exchange.reading.dictionary import (
    ENGINE_HOURS,
    HARVESTING,
    HOURS_PER_STEP,
    PRACTICE,
    PROPRIETARY,
    SETTINGS,
    WORKING_HOURS,
    code,
)
from api.exchange.reading.nouns import Gathered, HourReading, MachineValue, NotRead, ReadUnit, Role
from api.exchange.reading.task_links import system_ids
from api.exchange.reading.task_set import TaskSet, plain_id
from api.exchange.reading.time_logs import Logged, last_values, read_template
from api.exchange.reading.times import Moment, placed
from api.exchange.reading.xml_text import children, place_of, read_xml

WANTED = {**SETTINGS, ENGINE_HOURS: None, WORKING_HOURS: None}


@dataclass(frozen=True, slots=True)
class Devices:
    """The combines of a set.

    Attributes:
        units: one for each.   by_device: a unit's key by the device's id.   names: devices' NAMEs by unit's key.
    """

    units: tuple[ReadUnit, ...]
    by_device: dict[str, str]
    names: dict[str, list[str]]

    def allocated(self, task: etree._Element) -> tuple[tuple[str, ...], bool]:
        """Keys of the combines that a task allocates, and whether any harvester would do."""
        found: list[str] = []
        anyone = False
        for one in children(task, "DAN"):
            device, value, mask = plain_id(one.get("C") or ""), one.get("A") or "", one.get("B") or ""
            if device:
                found += [self.by_device[device]] if device in self.by_device else []
            elif mask:
                found += [key for key, some in self.names.items() if any(names.matches(n, value, mask) for n in some)]
                anyone = anyone or names.means_harvesters(value, mask)
            else:
                found += [key for key, some in self.names.items() if value.upper() in some]
        return tuple(dict.fromkeys(found)), anyone


@dataclass(frozen=True, slots=True)
class _Said:
    """One value of one element: whole steps, and when; ``local`` where that came without an offset."""

    entry: int
    element: str
    steps: int
    taken: float | None
    fixed: bool
    local: bool = False


def read_devices(of: TaskSet, gathered: Gathered) -> Devices:
    """The combines of a set; other devices are passed over."""
    owner = {
        plain_id(element.get("A") or ""): plain_id(device.get("A") or "")
        for _, device in of.all("DVC") for element in children(device, "DET")
    }  # fmt: skip
    said: dict[str, list[_Said]] = {}
    for one in (*_fixed(of), *_totals(of, gathered), *_logged(of, gathered)):
        if one.element not in owner:
            gathered.note(f"A value of DDI {one.entry} names the element {one.element[:20]}, which no device has.")
            continue
        said.setdefault(owner[one.element], []).append(one)
    units: dict[str, ReadUnit] = {}
    by_device: dict[str, str] = {}
    by_key: dict[str, list[str]] = {}
    for place, device in of.all("DVC"):
        id, values = plain_id(device.get("A") or ""), said.get(plain_id(device.get("A") or ""), [])
        written = (device.get("D") or "").strip().upper()
        name = names.decode(written)
        if name is None:
            gathered.refuse(
                place, f"has '{written[:20]}' for a NAME, which has 16 hexadecimal digits", "Ask the sender"
            )
            continue
        harvests = any(one.entry in PRACTICE and one.steps == HARVESTING for one in values)
        if not name.is_harvester() and not harvests:
            gathered.pass_over(place, f"device '{(device.get('B') or id)[:40]}' is no combine")
            continue
        serial = (device.get("E") or "").strip()
        key = (
            f"{of.path} {name.manufacturer_code}/{name.device_class_instance}/{serial}" if serial else f"{of.path} {id}"
        )
        unit = _unit(place, key, device, written, name, values, _element_names(device), gathered)
        links = of.links.get(id, ())
        pin = next((one.value for one in links if one.is_pin()), "")
        unit = replace(unit, pin=pin, system_ids=system_ids(links, of.origin))
        units[key] = _joined(units[key], unit) if key in units else unit
        by_device[id] = key
        by_key.setdefault(key, []).append(written)
    return Devices(tuple(units.values()), by_device, by_key)


def _unit(
    place: str, key: str, device: etree._Element, written: str, name: names.Name, said: Iterable[_Said],
    elements: dict[str, str], gathered: Gathered,
) -> ReadUnit:  # fmt: skip
    serial = (device.get("E") or "").strip()
    hours: HourReading | None = None
    values: dict[tuple[int, str], MachineValue] = {}
    for one in said:
        if one.entry == ENGINE_HOURS:
            found = HourReading(one.steps * HOURS_PER_STEP, one.taken, one.local)
            if hours is None or (found.taken or 0, found.hours) >= (hours.taken or 0, hours.hours):
                hours = found
        elif one.entry == WORKING_HOURS:
            gathered.note("Working hours (DDI 215) leave out idle running; they are not taken for engine hours.")
        elif (entry := SETTINGS.get(one.entry)) is not None:
            before = values.get((one.entry, one.element))
            if before is None or (before.taken or 0) <= (one.taken or 0):
                values[one.entry, one.element] = MachineValue(
                    entry.quantity, f"DDI {one.entry}", Role.FIXED if one.fixed else entry.role,
                    elements.get(one.element, one.element), one.steps * entry.factor, entry.measure, one.taken,
                    one.local,
                )  # fmt: skip
    for process in children(device, "DPD"):
        if (code(process.get("B") or "") or 0) in PROPRIETARY:
            gathered.note("Entries that only the maker knows (DDI E000 to FFFE) are passed over.")
    return ReadUnit(
        place=place, key=key, maker=f"ISO 11783 manufacturer {name.manufacturer_code}",
        type=(device.get("B") or "").strip(), serial=serial,
        series=f"ISO 11783 manufacturer {name.manufacturer_code}, class {name.device_class}", isobus_name=written,
        fleet_number=(device.get("B") or "").strip(), hours=hours, values=tuple(values.values()),
    )  # fmt: skip


def _joined(first: ReadUnit, second: ReadUnit) -> ReadUnit:
    """Two devices of one machine: what the first says of it holds, values of both."""
    hours = max(
        (one for one in (first.hours, second.hours) if one is not None), key=lambda one: one.hours, default=None
    )
    ids = tuple(dict.fromkeys((*first.system_ids, *second.system_ids)))
    values = (*first.values, *second.values)
    return replace(first, hours=hours, values=values, pin=first.pin or second.pin, system_ids=ids)


def _element_names(device: etree._Element) -> dict[str, str]:
    return {
        plain_id(one.get("A") or ""): (one.get("D") or one.get("A") or "").strip() for one in children(device, "DET")
    }


def _fixed(of: TaskSet) -> Iterator[_Said]:
    """Values that a device's description holds for good."""
    for _, device in of.all("DVC"):
        fixed = {one.get("A"): one for one in children(device, "DPT")}
        for element in children(device, "DET"):
            for reference in children(element, "DOR"):
                one = fixed.get(reference.get("A"))
                entry, steps = (None, None) if one is None else (code(one.get("B") or ""), _whole(one.get("C")))
                if entry is not None and steps is not None:
                    yield _Said(entry, plain_id(element.get("A") or ""), steps, None, True)


def _totals(of: TaskSet, gathered: Gathered) -> Iterator[_Said]:
    """Values that tasks hold with their times."""
    for _, task in of.all("TSK"):
        for time in children(task, "TIM"):
            found = of.moment(time.get("B") or time.get("A") or "", place_of(of.path, time), gathered)
            taken, unplaced = (None, False) if found is None else (found.at, found.local)
            for one in children(time, "DLV"):
                entry, steps = code(one.get("A") or ""), _whole(one.get("B"))
                if entry in WANTED and entry is not None and steps is not None:
                    yield _Said(entry, plain_id(one.get("C") or ""), steps, taken, False, unplaced)


def _logged(of: TaskSet, gathered: Gathered) -> Iterator[_Said]:
    """Last values of every log that tasks name."""
    for place, task in of.all("TSK"):
        for log in children(task, "TLG"):
            name = (log.get("A") or "").strip()
            try:
                found, wrong = _one_log(of, name)
            except (NotRead, ValueError) as error:
                gathered.refuse(place, f"has the time log {name[:20]}, but {error}", "Send all files of the set")
                continue
            if wrong:
                gathered.note(f"Time log {name}: {wrong}; what stands before was read.")
            for one in found:
                taken = Moment(one.utc) if one.utc is not None else placed(one.shown, of.zone)
                if said := taken.note():
                    gathered.note(said)
                yield _Said(one.entry, plain_id(one.element), one.value, taken.at, False, taken.local)


def _one_log(of: TaskSet, name: str) -> tuple[list[Logged], str]:
    template, binary = of.files.find(of.folder, f"{name}.xml"), of.files.find(of.folder, f"{name}.bin")
    if template is None or binary is None:
        raise ValueError(f"{name[:20]}.{'xml' if template is None else 'bin'} is not there")
    return last_values(read_template(read_xml(template, of.files.read(template))), of.files.read(binary), WANTED)


def _whole(text: str | None) -> int | None:
    """A whole number of 32 bits, None for anything else."""
    try:
        found = int(text or "")
    except ValueError:
        return None
    return found if -(2**31) <= found < 2**31 else None
