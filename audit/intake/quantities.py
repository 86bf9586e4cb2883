"""Reads rules/quantities.yaml into the vocabulary."""

from __future__ import annotations

from collections.abc import Mapping

from audit.intake.tree import Fields, Node, Problems
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
    for section, role in _SECTIONS.items():
        for name, node in fields.pairs(section):
            if "." not in name:
                problems.add(node.place, f"'{name}' must be named part.attribute.")
            if name in fixed:
                problems.add(node.place, f"'{name}' is named twice.", "Keep one.")
            fixed[name] = _quantity(node, name, role, problems)
    known = {family for kind in (*drive_kinds.values(), *part_kinds.values()) for family in kind.families}
    families: dict[str, dict[str, Quantity]] = {}
    for family, node in fields.pairs("kinds"):
        if family not in known:
            problems.add(node.place, f"no kind or family is called '{family}'.", did_you_mean(family, known))
        inner = Fields(node, problems, f"kind '{family}'")
        added = families.setdefault(family, {})
        for section in ("settings", "readings", "events"):
            for name, item in inner.pairs(section):
                added[name] = _quantity(item, name, _SECTIONS[section], problems)
        inner.close()
    fields.close()
    return Vocabulary(fixed, families, drive_kinds, part_kinds)


def read_when(fields: Fields, default: When) -> When:
    """The state of the machine in which something is done or taken."""
    word = fields.word("when", [found.value for found in When], default.value)
    return next((found for found in When if found.value == word), default)


def _quantity(node: Node, name: str, role: Role, problems: Problems) -> Quantity:
    fields = Fields(node, problems, f"quantity '{name}'")
    meaning = fields.text("meaning")
    how = fields.text("how", "")
    minutes = fields.number("minutes", 1.0, low=0)
    when = read_when(fields, When.STOPPED)
    sided = fields.truth("sided", False)
    of_crop = fields.truth("of_crop", False)
    open_words = fields.truth("open", False)
    if role is Role.EVENT:
        fields.close()
        return Quantity(name, role, Form.TIME, meaning, of_crop=of_crop)
    if fields.truth("yes_no", False):
        fields.close()
        return Quantity(
            name, role, Form.YES_NO, meaning, sided=sided, how=how, minutes=minutes, when=when, of_crop=of_crop
        )
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
    form = Form.WORD if words or open_words else Form.NUMBER
    return Quantity(
        name, role, form, meaning, unit, words, open_words, sided, lowest, highest, how, minutes, when, of_crop
    )


def _words(fields: Fields, open_words: bool) -> tuple[tuple[str, str], ...]:
    node = fields.node("words", required=False)
    if node is None or open_words:
        return ()
    if isinstance(node.value, dict):
        return tuple((word, str(meaning.value)) for word, meaning in node.value.items())
    fields.problems.add(node.place, "'words' must map each word to its meaning.")
    return ()
