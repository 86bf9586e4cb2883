"""Reads procedures and cautions."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from audit.intake.basis import read_basis
from audit.intake.quantities import read_when
from audit.intake.targets import targeted
from audit.intake.tree import Fields, Node, Problems
from audit.measures import dimension_of
from audit.nearest import did_you_mean
from audit.nouns.quantity import Form, Role, When
from audit.nouns.rule import Also, Procedure, Recheck, Step
from audit.nouns.source import Source
from audit.nouns.vocabulary import Vocabulary


def read_cautions(tree: Node, sources: Mapping[str, Source], problems: Problems) -> dict[str, str]:
    """The cautions file: key to sentence."""
    found: dict[str, str] = {}
    for key, node in Fields(tree, problems, "the cautions file").items.items():
        fields = Fields(node, problems, f"caution '{key}'")
        found[key] = fields.text("say")
        read_basis(fields, sources)
        fields.close()
    return found


def read_procedure(
    tree: Node, stem: str, vocabulary: Vocabulary, sources: Mapping[str, Source], cautions: Collection[str],
    origin: str, problems: Problems,
) -> Procedure:  # fmt: skip
    """One procedure; its key is the file's name."""
    fields = Fields(tree, problems, f"procedure '{stem}'")

    def step(node: Node) -> Step:
        inner = Fields(node, problems, "a step")
        found = Step(inner.text("do"), inner.text("trap", ""))
        inner.close()
        return found

    def keys(name: str) -> tuple[str, ...]:
        found = fields.texts(name)
        for key in found:
            if key not in cautions:
                problems.add(fields.place, f"no caution is called '{key}'.", did_you_mean(key, cautions))
        return found

    def quantities(name: str) -> tuple[str, ...]:
        found = fields.texts(name)
        check(found)
        return found

    def check(found: tuple[str, ...]) -> None:
        for quantity in found:
            if targeted(quantity, vocabulary) is None:
                problems.add(
                    fields.place,
                    f"no quantity is called '{quantity}'.",
                    did_you_mean(quantity, vocabulary.fixed),
                )

    def also(name: str, node: Node) -> Also:
        inner = Fields(node, problems, f"'{name}'")
        found = Also(name, inner.texts("brings"), inner.texts("before"), inner.texts("after"))
        inner.close()
        check(found.brings)
        return found

    def recheck(node: Node) -> Recheck:
        inner = Fields(node, problems, "a re-check")
        days = inner.optional_number("days")
        found = Recheck(
            inner.texts("take"),
            inner.texts("or"),
            inner.measure("after", "time"),
            inner.measure("by", "time"),
            days,
            inner.text("because"),
            read_basis(inner, sources),
        )
        inner.close()
        check((*found.take, *found.instead))
        if not found.take and not found.instead:
            problems.add(inner.place, "a re-check names nothing to take.", "Add 'take:', 'or:' or both.")
        if not 0.0 <= found.after < found.by:
            problems.add(inner.place, "'after' must come before 'by'.", "Both are engine hours since the work.")
        if days is not None and days <= 0:
            problems.add(inner.place, f"'days' is {days:g}; it must be above 0.")
        return found

    def since() -> str:
        name = fields.text("since", "")
        quantity = targeted(name, vocabulary) if name else None
        check((name,) if name else ())
        if quantity is not None:
            hours = quantity.form is Form.NUMBER and dimension_of(quantity.unit) == "time"
            if quantity.role is not Role.READING or not hours:
                problems.add(fields.place, f"'since' names '{name}', which is no reading of hours.")
        return name

    safe = keys("safe")
    found = Procedure(
        stem,
        fields.text("title"),
        fields.each("steps", step, required=True),
        fields.number("minutes", low=0),
        int(fields.number("people", low=1)),
        fields.texts("tools"),
        fields.texts("parts"),
        quantities("moves"),
        quantities("brings"),
        safe,
        keys("cautions"),
        fields.texts("before"),
        fields.texts("after"),
        tuple(also(name, node) for name, node in fields.pairs("also")),
        quantities("takes"),
        quantities("measures"),
        read_when(fields, When.STOPPED if safe else When.RUNNING),
        read_basis(fields, sources),
        fields.place,
        origin,
        fields.each("recheck", recheck),
        since(),
        fields.texts("raises"),
        fields.texts("lowers"),
    )
    fields.close()
    for name in (*found.raises, *found.lowers):
        if name not in found.brings:
            advice = did_you_mean(name, found.brings, "Only what is in 'brings' can be raised or lowered.")
            problems.add(fields.place, f"procedure '{stem}' does not bring '{name}'.", advice)
    if found.rechecks and not _told(found, vocabulary):
        problems.add(
            fields.place,
            f"procedure '{stem}' calls for a re-check, but no setup can tell that it was done.",
            "Let it bring an event, or name in 'since' the reading that counts the hours since then.",
        )
    return found


def _told(procedure: Procedure, vocabulary: Vocabulary) -> bool:
    """Whether a setup can tell that the procedure was done: by a setting, an event or a count of hours."""
    quantities = (targeted(name, vocabulary) for name in procedure.brings)
    events = any(quantity is not None and quantity.role is Role.EVENT for quantity in quantities)
    return bool(procedure.moves or procedure.since or events)


def check_links(procedures: dict[str, Procedure], problems: Problems) -> None:
    """Procedures named before and after must exist."""
    for procedure in procedures.values():
        named = [key for also in procedure.also for key in (*also.before, *also.after)]
        for key in (*procedure.before, *procedure.after, *named):
            if key not in procedures:
                advice = did_you_mean(key, procedures)
                problems.add(
                    procedure.place,
                    f"procedure '{procedure.key}' names '{key}', which does not exist.",
                    advice,
                )
