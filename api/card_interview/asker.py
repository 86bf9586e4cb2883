"""Asks for one thing of a drive after another, and holds what is known of it."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from dataclasses import replace
from typing import Any

from api.card_interview.draft import Draft, Drive, Left, must_turn_sensibly
from api.card_interview.question import Question, Shown, Size, number, size, units_of, whole
from audit.nouns.kind import Kind

Asked = Generator[Question | Shown, Any, Drive | None]
"""Ends in a drive, None where it is not known well enough for a card."""
Kinds = Mapping[str, Kind]

MEASURE = "Else measure it: engine off, key out, everything stopped; guard opened last and closed again."
TABLE = "The drive's page under specifications, or the table of belts and chains in the parts manual."


class Asker:
    """Asks about one drive.

    Attributes:
        drive: what is known of it so far.
    """

    def __init__(self, draft: Draft, drive: Drive, kinds: Kinds, title: str) -> None:
        self.draft, self.drive, self.kinds, self.title = draft, drive, kinds, title
        self.speed_of = f"the speed of {drive.driven} and of all that it drives"

    def key(self, name: str) -> str:
        return f"{self.drive.driven}_drive.{name}"

    def ask_size(
        self, name: str, ask: str, unit: str, low: float, high: float, *, last: bool = False,
        words: Mapping[str, tuple[str, ...]] | None = None,
    ) -> Generator[Question, Any, bool]:  # fmt: skip
        """A size that speed depends on; False where it is not known. The last one of a drive settles its speed."""
        known = {**self.draft.words(), **(words or {})}

        def read(answer: str) -> Size:
            one = whole if unit == "teeth" else number
            found = size(answer, lambda text: one(text, *_bounds(unit, low, high)), known)
            if last:
                self.must_turn_sensibly(self.with_stated(name, found))
            return found

        some = next(iter(known.values()), None)
        example = f"; where it differs: {', '.join(f'{one}: …' for one in some)}" if some else ""
        value = yield Question(
            self.key(name),
            f"{self.title} drive: {ask}",
            f"The speed of {self.drive.driven} follows from it.",
            f"{TABLE} {MEASURE}",
            ("a whole number" if unit == "teeth" else units_of(unit)) + example,
            read,
            unknown=self.speed_of,
        )
        if value is None:
            return False
        self.drive = self.with_stated(name, value)
        return True

    def ask_more(
        self, name: str, ask: str, use: str, write: str, read: Callable[[str], Any], unknown: str, otherwise: str = ""
    ) -> Generator[Question, Any, Any]:
        """Something that only the drive's own state depends on; None where it is not known, which is noted."""
        value = yield Question(
            self.key(name),
            f"{self.title} drive: {ask}",
            use,
            f"{TABLE} {MEASURE}",
            write,
            read,
            otherwise,
            unknown,
        )
        if value is None:
            self.draft.left.append(Left(self.drive.id, name.replace("_", " "), unknown))
        return value

    def with_stated(self, name: str, value: Size | str) -> Drive:
        return replace(self.drive, stated={**self.drive.stated, name: value})

    def noted(self, note: str) -> None:
        self.drive = replace(self.drive, notes=(*self.drive.notes, note))

    def must_turn_sensibly(self, drive: Drive) -> None:
        """Refuses a drive with which any shaft could not turn so fast or so slow."""
        must_turn_sensibly(self.draft, drive, self.kinds)


def _bounds(unit: str, low: float, high: float) -> tuple[Any, ...]:
    return (int(low), int(high)) if unit == "teeth" else (unit, low, high)
