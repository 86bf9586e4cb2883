"""What a few words of a setup decide alone, kept by those words.

A pulley's step, a gear range or a sprocket in use is one of two or three words. Diameters, ratios, the belt's length
and the shaft's lowest and highest speed follow from it, the same for every machine of a card that is set so: they are
worked out once and looked up from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass

from audit.folding import Folded
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


def stepped_of(folded: Folded, words: Set[str], facts: Sequence[str], questions: Sequence[Question]) -> list[Stepped]:
    """The parts of a sheet that words alone decide; no two share an input.

    Args:
        words: inputs that are one.   facts: that are needed, in order.   questions: all that are asked of the facts.
    """
    sources = {name: folded.behind_of([name]).keys() & folded.inputs.keys() for name in facts}
    behind = [(question, folded.behind(question).keys()) for question in questions]
    found = []
    for own, inside in _parted({name: inputs for name, inputs in sources.items() if inputs and inputs <= words}):
        answered = [bool(names) and names <= own | inside for _, names in behind]
        outside: set[str] = set()
        outside.update(*(names for (_, names), here in zip(behind, answered, strict=True) if not here))
        names = [name for name in facts if name in inside]
        asked = [question for question, here in zip(questions, answered, strict=True) if here]
        found.append(Stepped(sorted(own), names, [name for name in names if name in outside], asked))
    return found


def _parted(facts: Mapping[str, set[str]]) -> list[tuple[set[str], set[str]]]:
    """Of each part its inputs and its facts."""
    parts: list[tuple[set[str], set[str]]] = []
    for fact, inputs in facts.items():
        joined = [part for part in parts if part[0] & inputs]
        parts = [part for part in parts if not part[0] & inputs]
        parts.append((inputs.union(*(part[0] for part in joined)), {fact}.union(*(part[1] for part in joined))))
    return parts
