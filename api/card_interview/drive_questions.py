"""A shaft's drive, question by question: from which shaft, by what kind, with which sizes."""

from __future__ import annotations

from collections.abc import Callable

from api.card_interview.asker import Asked, Asker, Kinds
from api.card_interview.belts import ask_belt
from api.card_interview.chains import ask_chain
from api.card_interview.draft import Draft, Drive, Left, must_turn_sensibly, ratio_of, reaches, said
from api.card_interview.parts import drive_id
from api.card_interview.question import Number, Question, Refused, Shown, number, units_of, word

KINDS = {
    "v-belt": ("v_belt", "V-belt, or several side by side, on two fixed sheaves"),
    "stepped-belt": ("stepped_v_belt", "V-belt that is moved by hand from one step of its sheaves to the other"),
    "variable-belt": ("variable_belt", "V-belt on sheaves that open and close, so that speed is set while running"),
    "chain": ("roller_chain", "roller chain on two sprockets"),
    "gears": ("gear_pair", "pair of gears whose teeth are known"),
    "gearbox": ("gear_range", "gearbox whose ratio is known; it may depend on a range lever"),
    "coupling": ("direct", "coupling, joint or the same shaft: both turn alike"),
    "speeds-only": ("gear_range", "only both speeds are known; the drive itself can't be judged"),
}
"""Word for each kind of drive, kind on the card, and what it is."""


def ask_drive(draft: Draft, shaft: str, kinds: Kinds) -> Asked:
    """Asks for the drive of a shaft; None where it is not known well enough for a card."""
    title = draft.shafts[shaft].title
    others = [one for one in ("engine", *draft.shafts) if one != shaft]
    driver = yield Question(
        f"{shaft}.driven_from",
        f"{title}: which shaft drives it?",
        "Speeds are worked out along the drives, from the engine outwards.",
        "The drawing of the drives, or the belt chart: follow the belt or chain back to the engine.",
        f"one of: {', '.join(others)}",
        lambda answer: _driver(answer, others, shaft, draft),
        unknown=f"the speed of {shaft} and of all that it drives",
    )
    if driver is None:
        return None

    def read_kind(answer: str) -> str:
        found = word(answer, list(KINDS))
        if found == "coupling":
            must_turn_sensibly(draft, Drive(drive_id(shaft, "direct"), "direct", driver, shaft), kinds)
        return found

    listed = "\n".join(f"{name}: {meaning}" for name, (_, meaning) in KINDS.items())
    chosen = yield Question(
        f"{shaft}.drive",
        f"{title}: by what is it driven from {driver}?\n{listed}",
        "Each kind carries speed in its own way, and wears and slips in its own way.",
        "Look at the drive, or at its page.",
        f"one of: {', '.join(KINDS)}",
        read_kind,
        unknown=f"the speed of {shaft} and of all that it drives",
    )
    if chosen is None:
        return None
    kind = KINDS[chosen][0]
    drive = Drive(drive_id(shaft, kind), kind, driver, shaft)
    if chosen == "coupling":
        return drive
    ways: dict[str, Callable[[Asker], Asked]] = {
        "v-belt": ask_belt,
        "stepped-belt": ask_belt,
        "variable-belt": ask_belt,
        "chain": ask_chain,
        "gears": _gears,
        "gearbox": _gearbox,
        "speeds-only": _speeds_only,
    }
    return (yield from ways[chosen](Asker(draft, drive, kinds, title)))


def _driver(answer: str, others: list[str], shaft: str, draft: Draft) -> str:
    found = word(answer, others)
    row = [found, *draft.behind(found)]
    if shaft in row:
        around = " from ".join([shaft, *row[: row.index(shaft) + 1]])
        raise Refused(
            f"that closes a loop: {around}. No engine drives it. One of them is driven by another shaft; 'back'."
        )
    return found


def _gears(asker: Asker) -> Asked:
    for name, ask, last in (
        ("driver_teeth", "teeth of the driving gear?", False), ("driven_teeth", "teeth of the driven gear?", True),
    ):  # fmt: skip
        if not (yield from asker.ask_size(name, ask, "teeth", 5, 400, last=last)):
            return None
    return asker.drive


def _gearbox(asker: Asker) -> Asked:
    thresher = asker.draft.shafts[asker.drive.driven].kind == "thresher"
    words = {f"{asker.drive.driven}.range": ("low", "high")} if thresher else None
    ask = "turns of the driving shaft for one of the driven?"
    if thresher:
        ask += " With a range lever, for each range: low: …, high: …"
    found = yield from asker.ask_size("ratio", ask, "1", 0.05, 200, last=True, words=words)
    return asker.drive if found else None


def _speeds_only(asker: Asker) -> Asked:
    reach = reaches(asker.draft, asker.kinds).get(asker.drive.driver)
    if reach is None or reach[0] != reach[1]:
        why = "is not known yet" if reach is None else f"is not one speed but {said(reach)}"
        yield Shown(
            (f"The speed of {asker.drive.driver} {why}, so no ratio follows; {asker.drive.driven} is left out.",)
        )
        return None

    def read(answer: str) -> Number:
        found = number(answer, "r/min", 5, 20000)
        ratio = ratio_of(reach[0] / found.value)
        asker.must_turn_sensibly(asker.with_stated("ratio", ratio))
        return found

    speed = yield from asker.ask_more(
        "speed",
        f"how fast does it turn with the engine at {asker.draft.governed.text}?",
        "The ratio of the drive follows from both speeds.",
        units_of("r/min"),
        read,
        asker.speed_of,
    )
    if speed is None:
        return None
    asker.noted(f"kind and sizes of the drive are not known; the ratio is {reach[0]:g} over {speed.value:g} r/min")
    asker.draft.left.append(Left(asker.drive.id, "kind and sizes of the drive", "its wear, slip and tension"))
    return asker.with_stated("ratio", ratio_of(reach[0] / speed.value))
