"""What a few words of a setup decide alone, kept by those words.

A pulley's step, a gear range or a sprocket in use is one of two or three words. Diameters, ratios, the belt's length
and the shaft's lowest and highest speed follow from it, the same for every machine of a card that is set so: they are
worked out once and looked up from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from audit.nouns.quantity import Value
from audit.sheet import Question

_MOST_REMEMBERED = 256


@dataclass(frozen=True, slots=True)
class Stepped:
    """Facts and questions that the same few words decide.

    Attributes:
        words: the inputs.   facts: in an order in which they can be worked out.   shown: of these, what others look at.
    """

    words: list[str]
    facts: list[str]
    shown: list[str]
    questions: list[Question]


class ByWords(dict[tuple[Value, ...], tuple[object, ...]]):
    """What is worked out from some words, by the words; bounded, whatever a fleet may say."""

    def __init__(self, work_out: Callable[..., tuple[object, ...]]) -> None:
        super().__init__()
        self.work_out = work_out

    def __missing__(self, words: tuple[Value, ...]) -> tuple[object, ...]:
        if len(self) >= _MOST_REMEMBERED:
            self.clear()
        found = self[words] = self.work_out(*words)
        return found


def stepped_of(facts: Mapping[str, set[str]], questions: Sequence[tuple[Question, set[str]]]) -> list[Stepped]:
    """Parts that share no input.

    Args:
        facts: those that words alone decide, in order; of each the inputs behind it.
        questions: all; of each every quantity behind it.
    """
    found = []
    for words, inside in _parted(facts):
        own = [question for question, behind in questions if behind and behind <= words | inside]
        outside: set[str] = set()
        outside.update(*(behind for _, behind in questions if not behind or not behind <= words | inside))
        names = [name for name in facts if name in inside]
        found.append(Stepped(sorted(words), names, [name for name in names if name in outside], own))
    return found


def _parted(facts: Mapping[str, set[str]]) -> list[tuple[set[str], set[str]]]:
    """Of each part its inputs and its facts."""
    parts: list[tuple[set[str], set[str]]] = []
    for fact, inputs in facts.items():
        joined = [part for part in parts if part[0] & inputs]
        parts = [part for part in parts if not part[0] & inputs]
        parts.append((inputs.union(*(part[0] for part in joined)), {fact}.union(*(part[1] for part in joined))))
    return parts
