"""Proofs over a rulebook: a legal setup for every machine, and for every rule one that breaks it and nothing else.

What is looked for is found by the same search as a correction: a choice of values that some questions want and all
others allow, with as few changes as possible from a legal setup. Where there is none, the smallest set of questions
that cannot go together says why.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import islice, product

from audit.nouns.plan import Conflict
from audit.nouns.proof import Flaw, LegalSetup, Machine, NearMiss, Proof
from audit.nouns.quantity import Sided, Value
from audit.nouns.rule import Rule
from audit.nouns.rulebook import Rulebook
from audit.planning.conflict import conflict_of, smallest_conflict
from audit.planning.correction import Case, Stuck
from audit.planning.planner import HEADER, Planner, taken_headers
from audit.planning.probes import Probe
from audit.planning.search import MOST_PAIRS, PATIENT, Found, Row, Search, asked_and_kept, breaks
from audit.planning.solver import OutOfTime
from audit.planning.worksheet import Values, WorkSheet

_MOST_CROPS = 2
"""Crops of a card on which a rule is tried before it counts as one that can't be broken alone."""


def prove(rulebook: Rulebook, cards: Collection[str] = (), rules: Collection[str] = ()) -> Proof:
    """Proves a rulebook, or finds its flaws.

    Args:
        cards: machine cards to prove it on; all if empty. On some only, a rule that none of them can be asked passes.
        rules: rules to look for near misses of; all if empty.
    """
    return _Prover(rulebook, cards).proof(rules)


class _Prover:
    def __init__(self, rulebook: Rulebook, cards: Collection[str]) -> None:
        self.rulebook = rulebook
        self.cards = [card for card in rulebook.machines if not cards or card in cards]
        self.planner = Planner(rulebook)
        self.legal: list[LegalSetup] = []
        self.near: list[NearMiss] = []
        self.flaws: list[Flaw] = []
        self.near_by: dict[str, Values] = {}
        self.searches: dict[str, list[list[tuple[Machine, Search]]]] = {}

    def proof(self, rules: Collection[str]) -> Proof:
        for card in self.cards:
            for crop in self.rulebook.crops:
                self.machines(card, crop)
        breaks_with = []
        for rule in self.rulebook.rules.values():
            if rules and rule.id not in rules:
                continue
            try:
                others = self.rule(rule)
            except OutOfTime:
                self.flaw(
                    f"{rule.id} could not be decided: too many quantities hang together.",
                    "Split the rule, or name fewer quantities in it.",
                    rule.id,
                )
                continue
            if others:
                breaks_with.append((rule.id, others))
        self.flaws.sort(key=lambda flaw: (flaw.places, flaw.says))
        return Proof(tuple(self.legal), tuple(self.near), tuple(breaks_with), tuple(self.flaws))

    def flaw(self, says: str, hint: str, *rules: str) -> None:
        known = [self.rulebook.rules[rule] for rule in dict.fromkeys(rules)]
        found = Flaw(says, hint, tuple(rule.id for rule in known), tuple(rule.place for rule in known))
        if found not in self.flaws:
            self.flaws.append(found)

    def machines(self, card: str, crop: str) -> None:
        """A legal setup for every build and header of a card for a crop, or the conflict that forbids it."""
        worksheet = self.planner.worksheet(card, crop)
        headers = [word for word, _ in worksheet.quantity(HEADER).words]
        choices = [[(f"build.{b.name}", word) for word, _ in b.choices] for b in worksheet.sheet.card.builds]
        near = self.near_by.get(card, {})
        searches: list[tuple[Machine, Search]] = []
        self.searches.setdefault(card, []).append(searches)
        for header in taken_headers(worksheet) or headers[:1]:
            for builds in product(*choices):
                machine = Machine(card, tuple(builds), crop, header)
                found = self.legal_near(worksheet, machine, near)
                if isinstance(found, Conflict):
                    rules = [rule for rule, _ in found.rules]
                    self.flaw(
                        f"{' and '.join(rules) or 'The cards'} can't hold together on {card} for {crop} with {header}"
                        f"{_as_found(found)}, so that no setup is legal.",
                        "Change one of them, or the target that it points at.",
                        *rules,
                    )
                    return
                near = self.near_by[card] = found
                self.legal.append(LegalSetup(machine, {n: value for n, value in found.items() if value is not None}))
                searches.append((machine, Search(worksheet, found)))

    def legal_near(self, worksheet: WorkSheet, machine: Machine, near: Values) -> dict[str, Value | Sided] | Conflict:
        """A legal setup, as near as can be to one that is known; what it makes wrong is chosen anew."""
        fixed = {**dict(machine.builds), HEADER: machine.header_kind, "job.crop": machine.crop}
        values = worksheet.filled({**near, **fixed})
        anew = {name for number in worksheet.failing(values) for name in worksheet.probes[number].inputs} - fixed.keys()
        case = Case(worksheet, {name: value for name, value in values.items() if name not in anew})
        found = case.correct(lambda: False)
        if isinstance(found, Stuck) and near:
            case = Case(worksheet, fixed)
            found = case.correct(lambda: False)
        return conflict_of(case, found, lambda: False) if isinstance(found, Stuck) else found.values

    def rule(self, rule: Rule) -> tuple[str, ...]:
        """Near misses of a rule on every card; else the rules that always break with it."""
        asked = missed = False
        last: tuple[Search, int] | None = None
        undecided: list[tuple[Machine, Search, int]] = []
        for crops in self.searches.values():
            done: set[str] = set()
            failed: dict[str, int] = {}
            for searches in crops:
                for number in self.numbers(rule, searches):
                    found = self.where_asked(searches, number)
                    if found is None:
                        continue
                    asked = True
                    machine, search = found
                    on = search.worksheet.sheet.questions[number].on
                    kept = search.find({number: asked_and_kept})
                    if not isinstance(kept, Found):
                        self.contradiction(search, machine, number, kept)
                    if on in done or failed.get(on, 0) >= _MOST_CROPS:
                        continue
                    try:
                        broken = search.find({number: breaks})
                    except OutOfTime:
                        undecided.append((machine, search, number))
                        continue
                    if isinstance(broken, Found):
                        self.near_miss(machine, search, number, broken)
                        done.add(on)
                        missed = True
                    else:
                        failed[on] = failed.get(on, 0) + 1
                        last = search, number
        if undecided and not missed:
            missed = self.decided(undecided)
            last = undecided[0][1:]
        with_ = None if missed or last is None else self.always_with(*last)
        return self.verdict(rule, asked, missed or with_ is not None, missed, with_ or frozenset())

    def decided(self, undecided: list[tuple[Machine, Search, int]]) -> bool:
        """Looks longer for a near miss where it was given up; False if there is none. Raises OutOfTime."""
        given_up = 0
        for machine, search, number in undecided:
            try:
                broken = search.find({number: breaks}, looks=PATIENT)
            except OutOfTime:
                given_up += 1
                continue
            if isinstance(broken, Found):
                self.near_miss(machine, search, number, broken)
                return True
        if given_up:
            raise OutOfTime
        return False

    def near_miss(self, machine: Machine, search: Search, number: int, broken: Found) -> None:
        question = search.worksheet.sheet.questions[number]
        known = {name: value for name, value in broken.values.items() if value is not None}
        self.near.append(NearMiss((question.rule.id, question.on), machine, known, broken.changed))

    def numbers(self, rule: Rule, searches: list[tuple[Machine, Search]]) -> list[int]:
        """Numbers of a rule's questions on one work sheet."""
        if not searches:
            return []
        questions = searches[0][1].worksheet.sheet.questions
        return [number for number, question in enumerate(questions) if question.rule is rule]

    def where_asked(self, searches: list[tuple[Machine, Search]], number: int) -> tuple[Machine, Search] | None:
        """A machine of which a question is asked, or can be."""
        probe = searches[0][1].worksheet.probes[number]
        for machine, search in searches:
            if probe.is_asked(search.base) and None not in [search.base[name] for name in probe.deciding]:
                return machine, search
        tried: set[tuple[object, ...]] = set()
        for machine, search in searches:
            key = tuple(search.base[name] for name in probe.deciding)
            if key not in tried and self.can_be_asked(search, number):
                return machine, search
            tried.add(key)
        return None

    def verdict(
        self, rule: Rule, asked: bool, breakable: bool, missed: bool, entangled: frozenset[str]
    ) -> tuple[str, ...]:
        """Writes down what is wrong with a rule; returns the rules that it rightly says break with it."""
        if not self.legal:
            return ()
        if not asked and len(self.cards) < len(self.rulebook.machines):
            return ()
        if not asked:
            self.flaw(
                f"{rule.id} can never be asked on any machine card.",
                "Look at what it is given and at the quantities that it names; delete it if no machine has them.",
                rule.id,
            )
        elif not breakable:
            self.flaw(f"{rule.id} can't be broken.", "Its limit allows every value; tighten or delete it.", rule.id)
        elif missed and rule.breaks_with:
            self.flaw(
                f"{rule.id} can be broken alone, though it says that {', '.join(rule.breaks_with)} breaks with it.",
                "Delete its 'breaks_with'.",
                rule.id,
            )
        elif not missed and entangled != frozenset(rule.breaks_with):
            names = ", ".join(sorted(entangled))
            self.flaw(
                f"{rule.id} is never broken without {names}, so that it finds nothing by itself.",
                f"Delete it, or write 'breaks_with: [{names}]' if that is meant.",
                rule.id,
                *sorted(entangled),
            )
        elif not missed:
            return rule.breaks_with
        return ()

    def always_with(self, search: Search, number: int) -> frozenset[str] | None:
        """Rules that break whenever a question does, by the search near this setup; None if it can't be broken."""
        everything = frozenset(range(len(search.worksheet.probes)))
        if not isinstance(search.find({number: breaks}, everything - {number}, PATIENT), Found):
            return None
        found: set[str] = set()
        inputs = set(search.worksheet.probes[number].inputs)
        for other in {n for name in inputs for n in search.worksheet.by_input[name]} - {number}:
            if not isinstance(search.find({number: breaks}, everything - {number, other}, PATIENT), Found):
                found.add(search.worksheet.probes[other].question.rule.id)
        return frozenset(found)

    def can_be_asked(self, search: Search, number: int) -> bool:
        """Whether some values of what decides it let a question be asked, by the build and header at hand."""
        probe = search.worksheet.probes[number]
        row = [search.base[name] for name in probe.inputs]
        places = [probe.inputs.index(name) for name in probe.deciding]
        for chosen in islice(product(*(search.options(name) for name in probe.deciding)), MOST_PAIRS):
            for place, option in zip(places, chosen, strict=True):
                row[place] = option.value
            if probe.asked(*row) and None not in [row[place] for place in places]:
                return True
        return False

    def contradiction(self, search: Search, machine: Machine, number: int, asked: frozenset[int]) -> None:
        """Writes down the rules that can't be kept where a rule is asked."""

        def feasible(kept: frozenset[int]) -> bool:
            looked_at = {name for n in (*kept, number) for name in search.worksheet.probes[n].inputs}
            want = asked_and_kept if number in kept else _asked
            return search.choose(looked_at, sorted(kept | {number}), {number: want}) is not None

        core = smallest_conflict(sorted(asked), feasible)
        rules = sorted({search.worksheet.probes[n].question.rule.id for n in core})
        asker = search.worksheet.probes[number].question.rule.id
        self.flaw(
            f"{' and '.join(rules)} can't hold together where {asker} is asked, on {machine.card} for {machine.crop}.",
            "Change one of them, or what it is given.",
            *rules,
            asker,
        )


def _asked(probe: Probe, row: Row) -> bool:
    return probe.asked(*row)


def _as_found(conflict: Conflict) -> str:
    fixed = ", ".join(f"{name} {value}" for name, value in conflict.fixed)
    return f" ({fixed})" if fixed else ""
