"""Reads rules/quantities.yaml into the vocabulary."""

from __future__ import annotations

from collections.abc import Mapping

from audit.intake.tree import Fields, Node, Problems, said
from audit.measures import Unreadable, dimension_of
from audit.nearest import did_you_mean
from audit.nouns.kind import Kind
from audit.nouns.quantity import Form, Quantity, Role, When
from audit.nouns.vocabulary import Vocabulary

_SECTIONS = {
    "job": Role.JOB,
    "unit": Role.UNIT,
    "settings": Role.SETTING,
    "readings": Role.READING,
    "events": Role.EVENT,
}


def read_vocabulary(
    tree: Node, drive_kinds: Mapping[str, Kind], part_kinds: Mapping[str, Kind], facts: Mapping[str, Quantity],
    problems: Problems,
) -> Vocabulary:  # fmt: skip
    """The vocabulary of a quantities file joined with what the kinds declare."""
    fields = Fields(tree, problems, "the quantities file")
    fixed: dict[str, Quantity] = dict(facts)
    looks = {name: title for name, node in fields.pairs("looks") if (title := _title(name, node, problems))}
    for section, role in _SECTIONS.items():
        for name, node in fields.pairs(section):
            if "." not in name:
                problems.add(node.place, f"'{name}' must be named part.attribute.")
            if name in fixed:
                problems.add(node.place, f"'{name}' is named twice.", "Keep one.")
            fixed[name] = _quantity(node, name, role, looks, problems)
    known = {family for kind in (*drive_kinds.values(), *part_kinds.values()) for family in kind.families}
    families: dict[str, dict[str, Quantity]] = {}
    for family, node in fields.pairs("kinds"):
        if family not in known:
            problems.add(node.place, f"no kind or family is called '{family}'.", did_you_mean(family, known))
        inner = Fields(node, problems, f"kind '{family}'")
        added = families.setdefault(family, {})
        for section in ("settings", "readings", "events"):
            for name, item in inner.pairs(section):
                added[name] = _quantity(item, name, _SECTIONS[section], looks, problems)
        inner.close()
    fields.close()
    return Vocabulary(fixed, families, drive_kinds, part_kinds, looks)


def _title(name: str, node: Node, problems: Problems) -> str:
    """The title of a look, '' where it has none."""
    if isinstance(node.value, str) and node.value.strip():
        return node.value
    problems.add(node.place, f"look '{name}' is {said(node.value)}.", "Write the title that a person reads.")
    return ""


def read_when(fields: Fields, default: When) -> When:
    """The state of the machine in which something is done or taken."""
    word = fields.word("when", [found.value for found in When], default.value)
    return next((found for found in When if found.value == word), default)


def _quantity(node: Node, name: str, role: Role, looks: Mapping[str, str], problems: Problems) -> Quantity:
    fields = Fields(node, problems, f"quantity '{name}'")
    meaning = fields.text("meaning")
    how = fields.text("how", "")
    minutes = fields.number("minutes", 1.0, low=0)
    when = read_when(fields, When.STOPPED)
    sided = fields.truth("sided", False)
    of_crop = fields.truth("of_crop", False)
    open_words = fields.truth("open", False)
    look = fields.word("look", list(looks), "") if "look" in fields.items else ""
    if role is Role.EVENT:
        fields.close()
        _must_be_seen(look, role, when, "", fields)
        return Quantity(name, role, Form.TIME, meaning, of_crop=of_crop)
    if fields.truth("yes_no", False):
        fields.close()
        _must_be_seen(look, role, when, "", fields)
        return Quantity(
            name, role, Form.YES_NO, meaning, sided=sided, how=how, minutes=minutes, when=when, of_crop=of_crop,
            look=look,
        )  # fmt: skip
    words = _words(fields, open_words)
    unit = "" if words or open_words else fields.text("unit") or "1"  # where it lacks, that is on record
    lowest, highest = fields.optional_number("lowest"), fields.optional_number("highest")
    if unit:
        try:
            dimension_of(unit)
        except KeyError:
            problems.add(fields.place, f"unknown unit '{unit}'.")
            unit = "1"
        except Unreadable as error:
            problems.add(fields.place, str(error))
        if lowest is None or highest is None:
            problems.add(fields.place, f"'{name}' needs 'lowest' and 'highest'.", "Outside them a value is impossible.")
    fields.close()
    _must_be_seen(look, role, when, unit, fields)
    form = Form.WORD if words or open_words else Form.NUMBER
    return Quantity(
        name, role, form, meaning, unit, words, open_words, sided, lowest, highest, how, minutes, when, of_crop, look
    )


def _must_be_seen(look: str, role: Role, when: When, unit: str, fields: Fields) -> None:
    """A look takes what the eye tells on a machine that stands; a number, a setting or a run is taken by itself."""
    if look and (role is not Role.READING or when is not When.STOPPED or unit):
        advice = "Only readings in words, or yes and no, with the machine stopped, are taken in a look."
        fields.problems.add(fields.items["look"].place, f"look '{look}' can't take this.", advice)


def _words(fields: Fields, open_words: bool) -> tuple[tuple[str, str], ...]:
    node = fields.node("words", required=False)
    if node is None or open_words:
        return ()
    if isinstance(node.value, dict):
        return tuple((word, str(meaning.value)) for word, meaning in node.value.items())
    fields.problems.add(node.place, "'words' must map each word to its meaning.")
    return ()
