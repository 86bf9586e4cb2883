"""A setting's positions as a small picture: as found beside what is wanted, left beside right where both are taken."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from api.drawings.look import ACCENT, ACCENT_TINT, INK, PAPER, SOFT, TINT
from api.drawings.position_pictures import HIGH, PICTURES, WIDE, Picture
from api.drawings.svg import Markup, box, circle, drawing, element, group, label, line, paragraph, wrapped
from api.wire import shown, title_of
from audit.drives.stepped_v_belt import step_of
from audit.measures import from_canonical
from audit.nouns.finding import Finding
from audit.nouns.plan import Plan
from audit.nouns.quantity import SIDES, Form, Quantity, Role, Sided, Value
from audit.nouns.rule import All, Compare, Condition, Is, Literal
from audit.nouns.vocabulary import Vocabulary
from audit.sheet import Sheet

Values = Mapping[str, Value | Sided]

_WIDTH, _EDGE = 360.0, 12.0
_PANEL = (_WIDTH - 2 * _EDGE - 8) / 2
_MOST_WORDS = 8


@dataclass(frozen=True, slots=True)
class _Panel:
    """One picture: which state ('As found', 'Wanted'), which side, and the values by attribute."""

    state: str
    side: str
    values: Mapping[str, Value]
    changed: bool

    @property
    def head(self) -> str:
        return f"{self.state}, {self.side}" if self.side else self.state


def position(names: Mapping[str, Quantity], name: str, found: Values, wanted: Values, title: str = "") -> str:
    """One setting as found against as wanted.

    Args:
        names: quantities of the machine.   name: the setting; with it are shown those that its picture joins to it.
        found: values as found, canonical.
        wanted: the same as they should be; a setting that is not in it is wanted as found. Empty: only as found.
        title: of the component, '' for none.
    Returns: SVG text, 360 units wide.
    """
    quantity = names[name]
    part, _, attribute = name.rpartition(".")
    picture = _picture(names, name, found, wanted)
    attributes = picture.parts if picture else (attribute,)
    panels = list(_panels(quantity, part, attributes, found, wanted))
    heading = f"{title}: {_lower(quantity.meaning)}" if title else quantity.meaning
    lines = wrapped(heading, _WIDTH - 2 * _EDGE, 14, True)
    parts = [paragraph(_EDGE, 22, lines, 14, 18 / 14, bold=True)]
    quantities = {one: names[f"{part}.{one}"] for one in attributes}
    down = 22 + 18.0 * (len(lines) - 1) + 16
    for row in (panels[n : n + 2] for n in range(0, len(panels), 2)):
        drawn = [_panel(panel, picture, quantities) for panel in row]
        for n, (panel, (inside, _)) in enumerate(zip(row, drawn, strict=True)):
            place = f"translate({_EDGE + n * (_PANEL + 8):.2f} {down:.1f})"
            parts.append(element("g", *inside, transform=place, class_="panel changed" if panel.changed else "panel"))
        down += max(height for _, height in drawn) + 8
    down -= 2
    for text in _meanings(quantities, panels):
        lines = wrapped(text, _WIDTH - 2 * _EDGE, 12)
        parts.append(paragraph(_EDGE, down + 12, lines, 12, 16 / 12, fill=SOFT))
        down += 16.0 * len(lines)
    told = "; ".join(f"{panel.head}: {_words(panel.values, quantities)}" for panel in panels)
    return drawing(_WIDTH, down + 12, "position", heading, f"{told}.", parts)


def pictured_once(names: Mapping[str, Quantity], wanted: Iterable[str]) -> list[str]:
    """The names without those that the picture of an earlier one shows too."""
    kept: list[str] = []
    covered: set[str] = set()
    for name in wanted:
        if name not in covered:
            kept.append(name)
            picture = _picture(names, name, {}, {})
            covered |= {name, *(f"{name.rpartition('.')[0]}.{one}" for one in (picture.parts if picture else ()))}
    return kept


def plan_positions(sheet: Sheet, vocabulary: Vocabulary, values: Values, plan: Plan) -> dict[str, str]:
    """A picture for each setting that a plan leaves in another position, by name, in the order of its steps."""
    moved = [
        change.quantity
        for step in plan.steps
        for change in step.changes
        if change.before != change.after and sheet.names[change.quantity].role is Role.SETTING
    ]
    once = pictured_once(sheet.names, dict.fromkeys(moved))
    return {
        name: position(sheet.names, name, values, plan.values, _component(sheet, vocabulary, name)) for name in once
    }


def finding_positions(sheet: Sheet, vocabulary: Vocabulary, values: Values, finding: Finding) -> dict[str, str]:
    """A picture for each setting that a finding's rule wants in one position, by name."""
    asked = next((one for one in sheet.questions if (one.rule.id, one.on) == (finding.rule, finding.on)), None)
    wanted = dict(_wanted(asked.hold, sheet.names)) if asked else {}
    return {
        name: position(sheet.names, name, values, wanted, _component(sheet, vocabulary, name))
        for name in pictured_once(sheet.names, wanted)
    }


def _component(sheet: Sheet, vocabulary: Vocabulary, name: str) -> str:
    """Title of the component that a setting of a family is about; one that stands alone says it in its meaning."""
    return "" if name in vocabulary.fixed else title_of(sheet.card, name.partition(".")[0])


def _wanted(condition: Condition, names: Mapping[str, Quantity]) -> Iterator[tuple[str, Value]]:
    """Settings that must stand in one position for a condition to hold; a belt's step is a position at both ends."""
    if isinstance(condition, All):
        for each in condition.parts:
            yield from _wanted(each, names)
    if not (isinstance(condition, Compare) and isinstance(condition.relation, Is)):
        return
    limit = condition.relation.limit
    if not isinstance(limit, Literal) or limit.value is None:
        return
    part, _, attribute = condition.quantity.rpartition(".")
    if names[condition.quantity].role is Role.SETTING:
        yield condition.quantity, limit.value
    elif attribute == "step" and f"{part}.driving" in names:
        pair = next((p for p in (("small", "large"), ("large", "small")) if step_of(*p) == limit.value), None)
        if pair:
            yield f"{part}.driving", pair[0]
            yield f"{part}.driven", pair[1]


def _picture(names: Mapping[str, Quantity], name: str, found: Values, wanted: Values) -> Picture | None:
    """The picture for a setting; None where nobody drew it, or where it stands in a position that the picture lacks."""
    part, _, attribute = name.rpartition(".")
    picture = PICTURES.get(name) or PICTURES.get(f".{attribute}")
    if picture is None:
        return None
    for one in picture.parts:
        full = f"{part}.{one}"
        if full not in names or (names[full].form is Form.NUMBER) == bool(picture.words):
            return None
        values = {_of_side(some.get(full), side) for some in (found, wanted) for side in (0, 1)} - {None}
        if picture.words and not values <= picture.words:
            return None
    return picture


def _panels(
    quantity: Quantity, part: str, attributes: tuple[str, ...], found: Values, wanted: Values
) -> Iterator[_Panel]:
    as_wanted = {**found, **{name: value for name, value in wanted.items() if value is not None}}
    states = [("As found", found), ("Wanted", as_wanted)] if wanted else [("As found", found)]
    for state, values in states:
        for n, side in enumerate(SIDES if quantity.sided else ("",)):
            here, before = (
                {one: _of_side(some.get(f"{part}.{one}"), n) for one in attributes} for some in (values, found)
            )
            yield _Panel(state, side, here, here != before)


def _of_side(value: Value | Sided, side: int) -> Value:
    return value[side] if isinstance(value, tuple) else value


def _panel(panel: _Panel, picture: Picture | None, quantities: Mapping[str, Quantity]) -> tuple[list[Markup], float]:
    """A panel with its head above and its words under it, from its own corner; and its height."""
    known = any(value is not None for value in panel.values.values())
    high = _PANEL * HIGH / WIDE
    inside: list[Markup] = []
    if picture is None:
        inside, high = _plain(panel.values, quantities, _PANEL)
    elif known:
        scale = (_PANEL - 10) / WIDE
        drawn = picture.draw(panel.values, 1.5)
        inside = [element("g", *drawn, transform=f"translate(5 {5 * HIGH / WIDE:.2f}) scale({scale:.4f})")]
    else:
        inside = [label(_PANEL / 2, high / 2 + 9, "?", 26, True, SOFT, "middle")]
    fill, ink, thick = (ACCENT_TINT, ACCENT, 2.4) if panel.changed else (PAPER, INK, 1.2)
    frame = box(0, 0, _PANEL, high, fill, thick, ink, 6, stroke_dasharray=None if known else "4 4")
    lines = wrapped(_words(panel.values, quantities), _PANEL, 13, True)
    parts = [
        label(0, 11, panel.head, 12, fill=SOFT),
        group(frame, *inside, transform="translate(0 18)"),
        paragraph(0, 18 + high + 17, lines, 13, 16 / 13, True, ACCENT if panel.changed else INK),
    ]
    return parts, 18 + high + 4 + 16.0 * len(lines)


def _plain(values: Mapping[str, Value], quantities: Mapping[str, Quantity], wide: float) -> tuple[list[Markup], float]:
    """For a setting that nobody drew: its positions as boxes, the one it stands in filled; a number on its range."""
    (attribute, quantity), value = next(iter(quantities.items())), next(iter(values.values()))
    if quantity.form is Form.NUMBER:
        y = 26.0
        parts = [line([(10, y), (wide - 10, y)], 2, SOFT), line([(10, y - 5), (10, y + 5)], 2, SOFT)]
        parts.append(line([(wide - 10, y - 5), (wide - 10, y + 5)], 2, SOFT))
        share = _share(values[attribute], quantity)
        if share is not None:
            parts.append(circle((10 + (wide - 20) * share, y), 7, INK, 1))
        return parts, 2 * y
    words = [word for word, _ in quantity.words] or (["yes", "no"] if quantity.form is Form.YES_NO else [])
    named = words if len(words) <= _MOST_WORDS else []
    stands = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
    if isinstance(stands, str) and stands not in named:
        named = [*named, stands]
    parts = []
    down = 6.0
    for word in named:
        lines = wrapped(word, wide - 28, 12)
        high = 8 + 15.0 * len(lines)
        here = word == stands
        parts.append(box(6, down, wide - 12, high, INK if here else TINT, 1, INK if here else SOFT, 4))
        parts.append(paragraph(14, down + 15, lines, 12, 15 / 12, here, PAPER if here else SOFT))
        down += high + 5
    return parts, max(down + 1, 34)


def _share(value: Value, quantity: Quantity) -> float | None:
    """Where a number lies between the least and the most that can be set."""
    if not isinstance(value, float) or quantity.lowest is None or quantity.highest is None:
        return None
    span = quantity.highest - quantity.lowest
    if span <= 0:
        return None
    return max(0.0, min(1.0, (from_canonical(value, quantity.unit) - quantity.lowest) / span))


def _words(values: Mapping[str, Value], quantities: Mapping[str, Quantity]) -> str:
    """Values in words; of several attributes each with its name."""
    told = {one: shown(value, quantities[one]) or "not known" for one, value in values.items()}
    if len(told) == 1:
        return next(iter(told.values()))
    return ", ".join(f"{one} {text}" for one, text in told.items())


def _meanings(quantities: Mapping[str, Quantity], panels: list[_Panel]) -> Iterator[str]:
    """What the words that stand under the pictures mean, each once."""
    if len(quantities) > 1:
        return
    for one, quantity in quantities.items():
        used = {panel.values[one] for panel in panels}
        for word, meaning in quantity.words:
            if word in used and meaning:
                yield f"{word}: {meaning}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
