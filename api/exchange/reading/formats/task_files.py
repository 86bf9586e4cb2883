"""Task data of ISO 11783-10, versions 3 and 4: combines, their hours and settings, crops and planned harvests.

One file TASKDATA.XML, a folder or a zip archive with one or several, in any folder and any case.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

from lxml import etree

from api.exchange.reading.files import Files
from api.exchange.reading.nouns import Gathered, NotRead, Read, ReadCrop, ReadTask
from api.exchange.reading.registry import Format
from api.exchange.reading.task_devices import Devices, read_devices
from api.exchange.reading.task_set import ROOT, TaskSet, mains, plain_id, read_set
from api.exchange.reading.xml_text import children

PLANNED = {"1": "planned", "5": "template"}
"""States of a task that is still to be done."""
PLANNED_TIME = "1"
EMPTYING = "2"
"""A product that a machine gives off: with a crop's product, what is cut."""
CROP_GROUP = "2"


def _knows(files: Files) -> bool:
    if mains(files):
        return True
    return len(files.paths()) == 1 and ROOT.encode() in files.read(files.paths()[0])[:4096].replace(b"\0", b"")


def _read(files: Files, _: bytes, zone: ZoneInfo | None) -> Read:
    found = mains(files) or (files.paths() if len(files.paths()) == 1 else [])
    if not found:
        raise NotRead(files.name, "holds no TASKDATA.XML", "Send the whole folder that the terminal or system wrote")
    gathered, origin = Gathered(), ""
    for path in found:
        one = read_set(files, path, gathered, zone)
        origin = origin or one.origin
        devices = read_devices(one, gathered)
        gathered.units += devices.units
        _crops(one, gathered)
        _tasks(one, devices, gathered)
    if len(found) > 1:
        gathered.note(f"It holds {len(found)} sets of task data: {', '.join(found)}.")
    return gathered.read(origin=origin)


def _crops(of: TaskSet, gathered: Gathered) -> None:
    for place, crop in of.all("CTP"):
        designator = (crop.get("B") or "").strip()
        if not designator:
            gathered.refuse(place, "is a crop without a designator", "Name it in the system it comes from")
            continue
        gathered.crops.append(ReadCrop(place, f"{of.path} {crop.get('A')}", _said(of, crop)))


def _said(of: TaskSet, crop: etree._Element) -> tuple[str, ...]:
    """What a crop is called, EPPO codes of its links first."""
    codes = [code for one in of.links.get(plain_id(crop.get("A") or ""), ()) if (code := one.eppo())]
    return tuple(dict.fromkeys((*codes, *said_of((crop.get("B") or "").strip()))))


def said_of(designator: str) -> tuple[str, ...]:
    """What a crop may be looked up by; words of five capitals first, as many write an EPPO code before the name."""
    words = designator.split()
    codes = [word for word in words if len(word) == 5 and word.isascii() and word.isalpha() and word.isupper()]
    rest = " ".join(word for word in words if word not in codes)
    return tuple(dict.fromkeys(one for one in (*codes, designator, rest) if one))


def _tasks(of: TaskSet, devices: Devices, gathered: Gathered) -> None:
    for place, task in of.all("TSK"):
        state = PLANNED.get(task.get("G") or "")
        if state is None:
            continue  # running or done: its values were read with the devices
        name = (task.get("B") or "").strip() or (task.get("A") or "")
        units, any_harvester = devices.allocated(task)
        cut = [
            said
            for one in children(task, "PAN")
            if one.get("D") == EMPTYING
            for said in _crop_of_product(of, one.get("A"))
        ]
        if not units and not any_harvester and not cut:
            gathered.pass_over(place, f"task '{name[:60]}' names no combine and no crop that is cut")
            continue
        plot = of.named(task.get("E"), "PFD")
        grown = None if plot is None else of.named(plot.get("G"), "CTP")
        crops = [*cut, *(() if grown is None else _said(of, grown))]
        if not crops:
            gathered.note(f"Task '{name[:60]}' names no crop.")
        begins, ends, unplaced = _window(of, place, task, gathered)
        gathered.tasks.append(
            ReadTask(
                place=place, key=task.get("A") or "", name=name, units=units, crops=tuple(dict.fromkeys(crops)),
                field="" if plot is None else (plot.get("C") or "").strip(), begins=begins, ends=ends, state=state,
                local=unplaced,
            )
        )  # fmt: skip


def _crop_of_product(of: TaskSet, id: str | None) -> tuple[str, ...]:
    """What a product's crop is called, nothing for a product that is no crop's."""
    product = of.named(id, "PDT")
    group = None if product is None else of.named(product.get("C"), "PGP")
    if group is None or group.get("C") != CROP_GROUP:
        return ()
    return said_of((group.get("B") or "").strip())


def _window(
    of: TaskSet, place: str, task: etree._Element, gathered: Gathered
) -> tuple[float | None, float | None, bool]:
    """When a task is planned, and whether that is without an offset."""
    for one in children(task, "TIM"):
        if one.get("D") == PLANNED_TIME:
            ends = [of.moment(one.get(name) or "", place, gathered) for name in ("A", "B")]
            begins, stops = (None if end is None else end.at for end in ends)
            return begins, stops, any(end is not None and end.local for end in ends)
    return None, None, False


FORMAT = Format(
    "task-files", "task data of ISO 11783-10, versions 3 and 4, as file, folder or zip archive", _knows, _read
)
