"""One block judged: what every process of an audit runs, and what it keeps from block to block."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from itertools import count

from api.environment import shipped_rules
from api.fleet.blocks import Block, Done, Job, Piece
from api.fleet.csv_text import grid_of, records
from api.fleet.lines import Lines, UnitLine, WorkLine, aside, encode_lines
from api.fleet.stretches import with_text
from api.fleet.texts import parted
from audit.auditor import Auditor
from audit.intake.columns import read_header
from audit.intake.rulebook import layer_of, read_layers
from audit.intake.setups import read_setup
from audit.nouns.answer import Answer
from audit.nouns.finding import Clearance
from audit.nouns.plan import Plan
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime

MOST_LOOKS = 20_000
"""How often a search for the cheapest work may ask whether it should end: counted, not timed, so that every run of an
audit gives the same work."""

Judged = tuple[str, Callable[[], bytes], Answer | BadInput, Callable[[], bytes]]
"""Place of a setup, its text as it came, its answer, and its text as JSON."""


class OtherRulebook(RuntimeError):
    """This process would judge by other rules than the one that sent the block."""


class Judge:
    """Judges blocks by one rulebook.

    Args:
        rulebook: whose rules.   hold_at: lowest level that holds a harvest start.
    """

    def __init__(self, rulebook: Rulebook, hold_at: Level) -> None:
        self.rulebook = rulebook
        self.auditor = Auditor(rulebook, hold_at)
        self.planner = Planner(rulebook, hold_at)
        self.lines = Lines(rulebook)

    def block(self, block: Block, plan: bool) -> Done:
        """The lines of a block and what they count."""
        units: list[UnitLine] = []
        findings: list[bytes] = []
        refused: list[bytes] = []
        counts: Counter[str] = Counter()
        keys: list[str] = []
        for row, (source, text, answer, as_json) in enumerate(self._answers(block), block.row):
            if isinstance(answer, BadInput):
                counts["set_aside"] += 1
                refused.append(aside(source, answer.problems, text().decode("utf-8", "replace")))
                continue
            units.append(self.lines.unit(row, source, answer, self.work(answer, as_json) if plan else None))
            self.lines.findings(row, answer, findings, keys)
            counts["held" if answer.clearance is Clearance.HELD else "cleared"] += 1
        counts.update(keys)
        return Done(encode_lines(units), b"".join(findings), b"".join(refused), counts)

    def _answers(self, block: Block) -> Iterator[Judged]:
        piece, shown = with_text(block.piece), block.shown
        if piece.kind == "lost":
            message, advice = piece.payload
            yield shown, bytes, BadInput([Problem(Place(shown), message, advice)]), bytes
        elif piece.kind == "csv":
            yield from self._records(piece, shown)
        elif piece.kind == "rows":
            from api.fleet.parquet import grid_of as frame_grid

            grid = frame_grid(piece.payload, read_header(piece.columns, shown, self.rulebook))
            places = [f"{shown}:{piece.first + row}" for row in range(piece.setups)]
            for row, answer in enumerate(self.auditor.answer_rows(grid, places.__getitem__)):
                text = partial(grid.text, row)
                yield places[row], text, answer, text
        else:
            if piece.kind == "lines":
                numbers, texts = parted(piece.payload, piece.first)
                places = [f"{shown}:{number}" for number in numbers]
            else:
                texts = piece.payload
                places = [f"{shown}[{n}]" if n else shown for n, _ in zip(count(piece.first), texts, strict=False)]
            answered = self.auditor.answer_all(texts, places.__getitem__)
            for line, place, answer in zip(texts, places, answered, strict=True):
                as_it_came = partial(bytes, line)
                yield place, as_it_came, answer, as_it_came

    def _records(self, piece: Piece, shown: str) -> Iterator[Judged]:
        found = list(records(piece.payload, piece.first, piece.columns, piece.comma))
        right = [record for record in found if not record.wrong]
        grid = grid_of(right, read_header(piece.columns, shown, self.rulebook))
        answers = enumerate(self.auditor.answer_rows(grid, lambda row: f"{shown}:{right[row].line}"))
        for record in found:
            place = f"{shown}:{record.line}"
            text = partial(record.text.encode, "utf-8", "surrogateescape")
            if record.wrong:
                yield place, text, BadInput([Problem(Place(place), record.wrong)]), bytes
            else:
                row, answer = next(answers)
                yield place, text, answer, partial(grid.text, row)

    def work(self, answer: Answer, text: Callable[[], bytes]) -> WorkLine:
        """The work that puts a unit right."""
        if not answer.findings:
            return WorkLine()
        looks = count(1)
        try:
            planned = self.planner.plan(
                read_setup(text(), answer.unit, self.rulebook), out_of_time=lambda: next(looks) > MOST_LOOKS
            )
        except OutOfTime:
            return WorkLine(proven=False)
        plans = [branch.outcome for branch in planned.branches if isinstance(branch.outcome, Plan)]
        if len(plans) < len(planned.branches):
            return WorkLine(conflict=True)
        worst = max(plans, key=lambda plan: plan.minutes)
        return WorkLine(
            worst.minutes, worst.people, worst.parts_needed, worst.tools, len(worst.steps),
            all(plan.proven for plan in plans),
        )  # fmt: skip


_judges: dict[tuple[str, str], Judge] = {}
_making = threading.Lock()


def judge_here(job: Job, rulebook: Rulebook) -> None:
    """Gives this process the rulebook of a job, so that it need not read it again."""
    with _making:
        if (job.digest, job.hold_at) not in _judges:
            _judges[job.digest, job.hold_at] = Judge(rulebook, Level[job.hold_at.upper()])


def judge_block(job: Job, block: Block) -> Done:
    """A block judged, in whatever process this runs. Raises OtherRulebook."""
    key = job.digest, job.hold_at
    with _making:
        judge = _judges.get(key)
        if judge is None:
            rulebook = read_layers([layer_of(shipped_rules(), ""), *job.site])
            if rulebook.digest != job.digest:
                raise OtherRulebook(
                    "the rules that are installed where the work is done are not those of this program; "
                    "install the same version everywhere."
                )
            _judges.clear()
            judge = _judges[key] = Judge(rulebook, Level[job.hold_at.upper()])
    return judge.block(block, job.plan)
