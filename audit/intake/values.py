"""Reads one value of a setup for the quantity it stands for."""

from __future__ import annotations

from audit.intake.moments import read_moment
from audit.intake.tree import said
from audit.measures import Unreadable, dimension_of, known_units, read_quantity, show, to_canonical
from audit.nearest import did_you_mean
from audit.nouns.quantity import Form, Quantity, Sided, Value

MEASURED_KEYS = ("value", "unit", "with")
SIDE_KEYS = ("left", "right")
ROUNDING = 1e-9  # share of a bound by which unit conversion may miss it


class ValueReader:
    """Reads values of one quantity; checks unit, word and the bounds outside which a value is impossible."""

    def __init__(self, quantity: Quantity) -> None:
        self.quantity = quantity
        self.words = frozenset(word for word, _ in quantity.words)
        self.dimension = dimension_of(quantity.unit) if quantity.form is Form.NUMBER else ""
        self.lowest, self.highest = (
            None if bound is None else to_canonical(bound, quantity.unit, self.dimension)
            for bound in (quantity.lowest, quantity.highest)
        )

    def read(self, plain: object) -> Value | Sided:
        """The canonical value or pair of values; None for null. Raises Unreadable."""
        if not self.quantity.sided:
            return self.read_one(plain)
        if isinstance(plain, dict) and plain.keys() & set(SIDE_KEYS):
            for key in plain:
                if key not in SIDE_KEYS:
                    raise Unreadable(f"has no side '{key[:40]}'; write left and right.")
            return self.read_one(plain.get("left")), self.read_one(plain.get("right"))
        both = self.read_one(plain)
        return both, both

    def read_one(self, plain: object) -> Value:
        """The canonical value of one side."""
        if isinstance(plain, dict):
            return self.measured(plain)
        if plain is None:
            return None
        form = self.quantity.form
        if form is Form.NUMBER:
            return self.number(plain, "")
        if form is Form.YES_NO:
            if isinstance(plain, bool):
                return plain
            raise Unreadable(f"is {said(plain)}; it must be true or false.")
        if form is Form.TIME:
            return read_moment(plain)
        return self.word(plain)

    def measured(self, plain: dict[str, object]) -> Value:
        """``{value, unit, with}``."""
        for key in plain:
            if key in SIDE_KEYS:
                raise Unreadable("is not taken left and right; give one value.")
            if key not in MEASURED_KEYS:
                advice = did_you_mean(key, MEASURED_KEYS, "Known: value, unit, with.")
                raise Unreadable(f"has no key '{key[:40]}'. {advice}")
        if "value" not in plain:
            raise Unreadable("lacks 'value'.")
        value, unit, taken_with = plain["value"], plain.get("unit"), plain.get("with")
        if isinstance(value, dict):
            raise Unreadable("'value' must be a plain value.")
        if taken_with is not None and not isinstance(taken_with, str):
            raise Unreadable(f"'with' is {said(taken_with)}; it must be text, the instrument.")
        if unit is None or value is None:
            return self.read_one(value)
        if not isinstance(unit, str) or self.quantity.form is not Form.NUMBER:
            raise Unreadable(f"'unit' is {said(unit)}; {self.quantity.name} is a {self.quantity.form.value}.")
        return self.number(value, unit)

    def number(self, plain: object, unit: str) -> float:
        quantity = self.quantity
        if isinstance(plain, bool) or not isinstance(plain, (str, int, float)):
            units = ", ".join(known_units(self.dimension))
            raise Unreadable(f"is {said(plain)}; it must be a number with a unit out of: {units}.")
        if isinstance(plain, str) and unit:
            plain = f"{plain} {unit}"
        text = plain if isinstance(plain, str) else repr(plain)
        value = read_quantity(text, self.dimension, unit or quantity.unit)
        low, high = self.lowest, self.highest
        if not (low is None or value >= low - ROUNDING * abs(low)) or not (
            high is None or value <= high + ROUNDING * abs(high)
        ):
            bounds = [show(bound, quantity.unit) for bound in (low, high) if bound is not None]
            raise Unreadable(
                f"{said(plain)} is impossible here; it must lie from {' to '.join(bounds)}. "
                "Check the value and its unit."
            )
        return value

    def word(self, plain: object) -> str:
        if isinstance(plain, str) and (plain in self.words or (self.quantity.open_words and plain)):
            return plain
        words = ", ".join(word for word, _ in self.quantity.words)
        advice = did_you_mean(plain, self.words) if isinstance(plain, str) else ""
        raise Unreadable(f"is {said(plain)}; it must be one of: {words}. {advice}".rstrip())
