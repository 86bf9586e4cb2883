"""Plans as JSON, as text, and over HTTP: complete, in order, and never an empty answer."""

from __future__ import annotations

import dataclasses
import json
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.errors import MEDIA
from api.plan_text import NOT_AS_EXPECTED, STATES, PlanPage
from api.plan_wire import changeover_json, planned_json, setup_json, whatif_json
from api.routes import plans as routes
from api.routes.audits import EXAMPLE
from api.routes.plans import ChangeoverAnswer, PlanAnswer, WhatIfAnswer
from audit.intake.json_text import MOST_BYTES
from audit.intake.setups import read_setup
from audit.measures import dimension_of, to_canonical
from audit.nouns.plan import Branch, Change, Conflict, Lock, Locks, Plan, Planned, WorkStep
from audit.nouns.proof import Machine
from audit.nouns.quantity import Form, Role, When
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.nouns.vocabulary import on_card
from audit.planning.solver import OutOfTime
from audit.planning.whatif import WhatIf
from audit.run import audit_setup

ESCAPE = re.compile(r"\x1b\[[\d;]*m")
STOPPED, RUNNING, AT_WORK = When.STOPPED, When.RUNNING, When.AT_WORK
STEPS = (
    WorkStep(
        "move-feeder-drum", "", "feeder", STOPPED, 25, 2, ("19 mm spanner", "drift"), (),
        (
            Change("feeder.drum", ("raised", "lowered"), ("raised", "raised"), ("raised",)),
            Change("feeder.drum_pins_home", (True, True), (True, True), ("yes",)),
        ),
        clears=(("drum-set-for-another-crop", ""),),
    ),
    WorkStep(
        "check-feeder-chain", "", "feeder", STOPPED, 10, 1, ("lamp",), (), (),
        records=("feeder.chain_checked",), because=("move-feeder-drum",),
    ),
    WorkStep(
        "change-concave", "", "threshing", STOPPED, 120, 2, ("24 mm spanner", "lifting strap"), ("concave set",),
        (Change("rotor.concave_type", "small-wire", "large-wire", ("large-wire or round-bar",)),),
    ),
    WorkStep(
        "", "feeder.slowest_speed", "feeder", RUNNING, 2, 1, (), (),
        (Change("feeder.slowest_speed", None, 520.0, ("505 to 535 r/min",), True),),
        otherwise=("adjust-feeder-variable-drive",),
    ),
    WorkStep(
        "tension-belt", "beater_drive", "drives", STOPPED, 20, 1, ("spring gauge",), (),
        (
            Change("beater_drive.deflection_force", 30.0, 45.0, ("40 to 50 N",)),
            Change("beater.measured_speed", 700.0, 720.0, (), True),
        ),
    ),
    WorkStep("tension-belt", "chopper_drive", "drives", STOPPED, 20, 1, ("spring gauge",), (), ()),
    WorkStep("count-losses", "", "field", AT_WORK, 30, 1, (), (), (), because=("set-chaffer",)),
)  # fmt: skip
PLAN = Plan(
    STEPS, 227, 2, 1, ("19 mm spanner", "drift", "lamp", "24 mm spanner", "lifting strap", "spring gauge"),
    ("concave set",), 4, 1.5, True, {"job.header_kind": "draper"},
)  # fmt: skip
NO_LOCKS = Locks()
NOTHING = Plan((), 0, 0, 0, (), (), 0, 0, True, {})
LEAVE, LACKING, PEOPLE, MINUTES = (
    Lock("leave", "feeder.drum"), Lock("lacking", "lifting strap"), Lock("people", "1"), Lock("minutes", "30"),
)  # fmt: skip
CONFLICT = Conflict(
    (("drum-set-for-another-crop", ""), ("shaft-speed-off", "separator"), ("deck-plates-off-the-ears", "")),
    (LEAVE, LACKING, PEOPLE, MINUTES, Lock("leave", "clean_elevator"), Lock("leave", "cleaning"),
     Lock("leave", "move-feeder-drum"), Lock("leave", "coupler")),
    (("build.shoe.stroke", "long"), ("feeder.drum", ("raised", "lowered"))),
    ((LEAVE,), (PEOPLE, MINUTES)),
)  # fmt: skip


@pytest.fixture(scope="module")
def setup(rulebook: Rulebook, demo_lines: dict[str, tuple[bytes, ...]]) -> Setup:
    """A machine of the demo fleet whose feeder house drum stands wrong on one side."""
    return read_setup(demo_lines["corn"][1], "", rulebook)


@pytest.fixture(scope="module")
def of(setup: Setup, rulebook: Rulebook) -> Any:
    """Makes an answer out of outcomes, one for each way a build may be."""
    report = audit_setup(rulebook, setup)

    def made(*outcomes: Plan | Conflict, locks: Locks = NO_LOCKS) -> Planned:
        choices = ("long", "short")[: len(outcomes)]
        builds = [(("build.shoe.stroke", choice),) if len(outcomes) > 1 else () for choice in choices]
        return Planned(
            report,
            locks,
            tuple(Branch(build, one) for build, one in zip(builds, outcomes, strict=True)),
        )

    return made


def flat(lines: Any) -> str:
    """Lines as one, so that it does not matter where they were broken."""
    return " ".join(" ".join(lines).split())


def in_order(text: str, *parts: str) -> None:
    place = 0
    for part in parts:
        assert part in text[place:], f"{part!r} is missing, or not where it should be"
        place = text.index(part, place) + len(part)


# ----------------------------------------------------------------------------------------------------------------- text


def test_the_sum_comes_first(of: Any, rulebook: Rulebook) -> None:
    locks = Locks(("rotor.range", "shoe"), ("lamp", "drift"), 1, 300)
    lines = list(PlanPage().planned(planned_json(of(PLAN, locks=locks), rulebook)))
    assert lines[0] == "unit-02  axial-single, corn, corn-head"
    assert lines[1].startswith("HELD by 2 findings: 3 broken, 0 not known, ")
    assert lines[1].endswith(f"Rulebook {rulebook.digest[:12]}.")
    in_order(
        flat(lines),
        "Asked for: rotor.range, shoe left as found; no lamp, no drift on hand; at most 1 person; at most 300 minutes.",
        "The work: 7 steps, 227 minutes (3.8 h), 2 people, 1 part. Nothing cheaper does it: proven.",
        "Tools to take along: 19 mm spanner, drift, lamp, 24 mm spanner, lifting strap, spring gauge.",
        "Parts to take along: concave set.",
        STATES["stopped"],
    )


def test_what_time_did_not_prove_is_said(of: Any, rulebook: Rulebook) -> None:
    small = dataclasses.replace(PLAN, proven=False, minutes=59, people=1, parts=0, parts_needed=(), tools=())
    text = flat(PlanPage().planned(planned_json(of(small), rulebook)))
    assert "7 steps, 59 minutes, one person, no parts. The cheapest found. Time ran out before that was proven." in text
    assert "Tools to take along" not in text
    assert "Parts to take along" not in text
    assert "Asked for" not in text


def test_stopped_work_begins_and_ends_safely(of: Any, rulebook: Rulebook) -> None:
    text = flat(PlanPage().planned(planned_json(of(PLAN), rulebook)))
    say = rulebook.cautions
    before = [say[key] for key in ("engine-off", "key-out", "wait-stopped", "header-stop", "feeder-stop")]
    after = [say["guards-back"], say["all-clear"]]
    in_order(text, STATES["stopped"], *before, "1. Move", "3. Change the concave", *after,
             STATES["running"], "4. Take", say["engine-must-run"],
             STATES["stopped"], *before, "5. Set", *after,
             STATES["at work"], "7. Count", NOT_AS_EXPECTED, say["manual"])  # fmt: skip
    for caution in (*before, *after):
        assert text.count(caution) == 2
    assert text.count(say["manual"]) == text.count(say["engine-must-run"]) == 1


def test_a_safety_state_of_one_procedure_is_asked_for_before_the_stretch(of: Any, rulebook: Rulebook) -> None:
    procedure = rulebook.procedures["move-feeder-drum"]
    own = dataclasses.replace(procedure, safe=(*procedure.safe, "hydraulic-oil", "guards-back"))
    other = dataclasses.replace(rulebook, procedures={**rulebook.procedures, "move-feeder-drum": own})
    text = flat(PlanPage().planned(planned_json(of(PLAN), other)))
    in_order(text, STATES["stopped"], rulebook.cautions["hydraulic-oil"], "1. Move the feeder house drum")
    assert text.count(rulebook.cautions["guards-back"]) == 2


def test_steps_stand_under_their_stations_in_order(of: Any, rulebook: Rulebook) -> None:
    text = "\n".join(PlanPage().planned(planned_json(of(PLAN), rulebook)))
    lines = [line[2:] for line in text.splitlines() if re.match(r"  [\dA-Z]", line)]
    assert [line.partition(". ")[0] for line in lines] == [
        "Feeder house", "1", "2", "Rotor and concave, left side", "3",
        "Feeder house", "4", "Main drives, left side", "5", "6", "In the field", "7",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "says",
    [
        "1. Move the feeder house drum (25 min, 2 people; 19 mm spanner, drift)",
        "Set: height of the drum at the intake end of the feeder house [feeder.drum]: left raised, stays; "
        "right lowered -> raised Bring right: locking pins of the drum are home [feeder.drum_pins_home]: "
        "yes, both sides as found, wanted yes 1.1",
        "! Two people do this; agree who gives the signals.",
        "1.2 One person on each side, take the weight of the drum. Otherwise: One side let go alone jams the drum",
        "Answers: ■ HIGH Feeder house drum set for another crop.",
        "Because: follows step 1 (move the feeder house drum).",
        "Write down: the time when the feeder conveyor chain's tension was checked [feeder.chain_checked].",
        "3. Change the concave (120 min, 2 people; 24 mm spanner, lifting strap; parts: concave set)",
        "small-wire -> large-wire (wanted: large-wire or round-bar)",
        "4. Take: speed of the feeder slowed all the way down [feeder.slowest_speed] (2 min)",
        "How: Hand tachometer on the jackshaft",
        "Expect: 505 to 535 r/min. As found: not known. If not: adjust the feeder variable-speed belt; plan again.",
        "5. Set a belt's tension by its force - Infeed beater drive (20 min; spring gauge)",
        "Bring right: force that deflects the belt 16 mm per metre of span at mid-span [beater_drive.deflection_force]: "
        "30 N as found, wanted 40 to 50 N",
        "Take: shaft speed measured, machine at governed engine speed [beater.measured_speed]. Hand or optical tachometer",
        "Expect: 720 r/min. As found: 700 r/min.",
        "6. Set a belt's tension by its force - Chopper drive (20 min; spring gauge) "
        "! Let exhaust, brakes, belts and bearings cool before you touch them. How: as told under 5.",
        "Because: set the chaffer calls for it.",
    ],
)  # fmt: skip
def test_a_step_tells_all_that_it_takes(of: Any, rulebook: Rulebook, says: str) -> None:
    assert says in flat(PlanPage(1000).planned(planned_json(of(PLAN), rulebook)))


def test_work_that_prepares_a_later_step_says_so(of: Any, rulebook: Rulebook) -> None:
    first = dataclasses.replace(STEPS[1], because=("change-concave",))
    plan = dataclasses.replace(PLAN, steps=(first, STEPS[2]))
    text = flat(PlanPage().planned(planned_json(of(plan), rulebook)))
    assert "Because: goes before step 2 (change the concave)." in text
    assert NOT_AS_EXPECTED not in text  # nothing is taken


def test_nothing_to_do_is_said(of: Any, rulebook: Rulebook) -> None:
    text = flat(PlanPage().planned(planned_json(of(NOTHING), rulebook)))
    assert "Nothing to do: every rule that is asked of this machine is kept." in text
    assert "minutes" not in text


@pytest.mark.parametrize(
    "says",
    [
        "No plan. These can't all hold together:",
        "- Feeder house drum set for another crop: it must hold that feeder.drum is raised [drum-set-for-another-crop]",
        "- Shaft off the speed it was built for - Separator countershaft: it must hold that separator.measured_speed "
        "lies from 0.95 times separator.speed_low to 1.05 times separator.speed_high [shaft-speed-off]",
        ": where job.header_kind is corn-head, it must hold that corn_head.deck_gap_front ",
        "- asked for: height of the drum at the intake end of the feeder house [feeder.drum] stays as it is",
        "- asked for: no lifting strap on hand",
        "- asked for: at most 1 person",
        "- asked for: at most 30 minutes",
        "- asked for: clean grain elevator [clean_elevator] stays as it is",
        "- asked for: cleaning shoe and fan [cleaning] stays as it is",
        "- asked for: move the feeder house drum [move-feeder-drum] stays as it is",
        "- asked for: coupler stays as it is",
        "- nothing on this machine moves it: stroke of the cleaning shoe and the pulley that goes with it "
        "[build.shoe.stroke]: long",
        "[feeder.drum]: left raised, right lowered",
        "It opens if height of the drum at the intake end of the feeder house [feeder.drum] may be changed after all.",
        "It opens if more people help and more minutes are given.",
    ],
)
def test_a_conflict_says_why_and_what_opens_it(of: Any, rulebook: Rulebook, says: str) -> None:
    text = flat(PlanPage(1000).planned(planned_json(of(CONFLICT), rulebook)))
    assert says in text
    assert "The work" not in text


def test_a_conflict_without_locks_says_where_to_look(of: Any, rulebook: Rulebook) -> None:
    bare = dataclasses.replace(CONFLICT, locks=(), releases=())
    text = flat(PlanPage().planned(planned_json(of(bare), rulebook)))
    assert "Look at what was found, and at what card axial-single says can be moved for corn." in text
    assert "opens" not in text


def test_every_way_a_build_may_be_has_its_answer(of: Any, rulebook: Rulebook) -> None:
    text = flat(PlanPage().planned(planned_json(of(PLAN, CONFLICT), rulebook)))
    in_order(text, "If shoe.stroke is long", "The work: 7 steps", "If shoe.stroke is short", "No plan.")


@pytest.mark.parametrize("width", [40, 80, 100])
def test_nothing_is_wider_than_the_page_and_colour_is_only_colour(of: Any, rulebook: Rulebook, width: int) -> None:
    for planned in (of(PLAN), of(PLAN, CONFLICT), of(NOTHING)):
        plain = changeover_json(planned, "soybean", rulebook)
        for told in (PlanPage.planned, PlanPage.changeover, PlanPage.moves):
            lines = list(told(PlanPage(width), plain))
            coloured = list(told(PlanPage(width, colour=True), plain))
            assert [ESCAPE.sub("", line) for line in coloured] == lines
            assert lines != coloured
            for line in lines:
                if line.startswith("     "):
                    assert len(line) <= width or len(line.split()) <= 2, line


def test_a_changeover_says_from_what_to_what(of: Any, rulebook: Rulebook) -> None:
    text = flat(PlanPage().changeover(changeover_json(of(PLAN), "soybean", rulebook)))
    assert text.startswith(
        "Changeover from soybean, corn-head, to corn, draper. What was wrong before is part of the work. unit-02 "
    )
    assert "1. Move the feeder house drum" in text


def test_the_sheet_for_the_cab(of: Any, rulebook: Rulebook) -> None:
    lines = list(PlanPage().moves(changeover_json(of(PLAN), "soybean", rulebook)))
    text = flat(lines)
    assert len(lines) <= 66, "longer than a page"
    assert lines[0] == "Changeover from soybean, corn-head, to corn, draper: axial-single"
    in_order(
        text,
        "audit it first.",
        "7 steps, 227 minutes",
        "Before any work: Stop the engine",
        "[ ] Move the feeder house drum: feeder.drum left raised, stays; right lowered -> raised (25 min, 2 people)",
        "! Two people do this",
        "Refit and fasten every guard",
        "[ ] Look at or take: speed of the feeder slowed all the way down.",
        "Again before any work: all of the above.",
        "[ ] Set a belt's tension by its force - Infeed beater drive (20 min)",
        rulebook.cautions["manual"],
    )
    assert "1.1" not in text
    assert "Nothing moves between these crops." in flat(
        PlanPage().moves(changeover_json(of(NOTHING), "corn", rulebook))
    )
    both = flat(PlanPage().moves(changeover_json(of(PLAN, CONFLICT), "corn", rulebook)))
    in_order(both, "If shoe.stroke is long", "[ ] ", "If shoe.stroke is short", "No plan.")


def test_a_what_if_shows_both_sides(of: Any, setup: Setup, rulebook: Rulebook) -> None:
    after = dataclasses.replace(setup, values={**setup.values, "feeder.drum": ("raised", "raised")})
    before, would = of(PLAN, CONFLICT), of(NOTHING)
    would = dataclasses.replace(would, before=audit_setup(rulebook, after))
    was = next(fact for fact in would.before.facts if fact.name == "rotor.tip_speed")
    facts = ((was, dataclasses.replace(was, value=20.0)), (was, dataclasses.replace(was, value=None)))
    plain = whatif_json(WhatIf(before, would, facts), setup, after, rulebook)
    WhatIfAnswer.model_validate(plain, strict=True)
    text = flat(PlanPage(1000).whatif(plain))
    in_order(
        text,
        "What if, on unit-02 axial-single, corn, corn-head",
        "[feeder.drum]: left raised, stays; right lowered -> raised",
        "Computed values that would change",
        "[rotor.tip_speed]: ",
        " -> 20 m/s",
        " -> not known",
        "Findings that would be gone: 1",
        "■ HIGH Feeder house drum set for another crop, broken",
        "Findings that would be new: none",
        "as it is, long held; 7 steps, 227 minutes",
        "as it is, short held; no plan",
        "as it would be",
        "nothing to do",
        "unit-02 axial-single, corn, corn-head",
        "Nothing to do",
    )
    same = flat(PlanPage().whatif(whatif_json(WhatIf(before, before, ()), setup, setup, rulebook)))
    assert "Nothing would differ from what was found." in same
    assert "Computed values" not in same


# ----------------------------------------------------------------------------------------------------------------- JSON


def test_json_is_what_the_document_says(of: Any, rulebook: Rulebook) -> None:
    for planned in (of(PLAN, CONFLICT), of(NOTHING), of(PLAN, locks=Locks(("shoe",), ("lamp",), 2, 90.0))):
        plain = json.loads(json.dumps(planned_json(planned, rulebook)))
        assert PlanAnswer.model_validate(plain, strict=True).model_dump() == plain
        over = changeover_json(planned, "wheat", rulebook)
        assert ChangeoverAnswer.model_validate(over, strict=True).model_dump() == over


def test_json_has_canonical_values_and_what_a_reader_sees(of: Any, rulebook: Rulebook) -> None:
    steps = planned_json(of(PLAN), rulebook)["branches"][0]["plan"]["steps"]
    drum, pins = steps[0]["changes"]
    assert [one["value"] for one in drum["before"]] == ["raised", "lowered"]
    assert drum["after"][1] == {"side": "right", "value": "raised", "shown": "raised"}
    assert pins["after"][0] == {"side": "left", "value": True, "shown": "yes"}
    (speed,) = steps[3]["changes"]
    assert (speed["unit"], speed["taken"]) == ("r/min", True)
    assert speed["before"] == [{"side": "", "value": None, "shown": ""}]
    assert speed["after"] == [{"side": "", "value": 520.0, "shown": "520 r/min"}]
    assert steps[1]["because"] == [
        {"procedure": "move-feeder-drum", "title": "Move the feeder house drum", "steps": [1]}
    ]
    assert [finding["rule"] for finding in steps[0]["clears"]] == ["drum-set-for-another-crop"]


@pytest.mark.parametrize("card", ["axial-single", "tangential-walker", "axial-hybrid"])
def test_a_setup_is_written_so_that_it_reads_back(rulebook: Rulebook, card: str) -> None:
    """Every quantity of a card, numbers that no display unit holds exactly among them."""
    names = on_card(rulebook.machines[card], rulebook.vocabulary)
    values: dict[str, Any] = {}
    for number, (name, quantity) in enumerate(names.items()):
        if quantity.role in (Role.SETTING, Role.READING, Role.EVENT, Role.JOB, Role.UNIT) and name != "job.crop":
            if quantity.form is Form.NUMBER:
                low, high = (bound for bound in (quantity.lowest, quantity.highest) if bound is not None)
                shown = 2020.0 if name == "unit.build_year" else low + (high - low) * (0.3 + number / 7919)
                value: Any = canonical(rulebook, card, name, shown)
            elif quantity.form is Form.WORD:
                value = quantity.words[-1][0]
            else:
                value = True if quantity.form is Form.YES_NO else 1.7e9 + number
            values[name] = (
                (value, None) if quantity.sided and number % 2 else (value, value) if quantity.sided else value
            )
    builds = tuple((f"build.{build.name}", build.choices[0][0]) for build in rulebook.machines[card].builds)
    machine = Machine(card, builds, "corn", str(values["job.header_kind"]))
    text = json.dumps(setup_json(machine, values, rulebook))
    found = read_setup(text.encode(), "", rulebook)
    assert (found.unit.card, found.crop, found.header_kind) == (card, "corn", values["job.header_kind"])
    kept = {name: value for name, value in found.values.items() if not name.startswith("build.") and name != "job.crop"}
    assert kept == values
    assert {name: found.values[name] for name, _ in builds} == dict(builds)


def canonical(rulebook: Rulebook, card: str, name: str, number: float) -> float:
    """A number in its display unit in canonical units."""
    unit = on_card(rulebook.machines[card], rulebook.vocabulary)[name].unit
    return to_canonical(number, unit, dimension_of(unit))


def test_an_event_that_a_proof_dates_far_ahead_is_a_date(rulebook: Rulebook) -> None:
    machine = Machine("axial-single", (), "corn", "corn-head")
    plain = setup_json(machine, {"feeder.drum_moved": 1e12, "rotor.speed": None}, rulebook)
    assert plain["events"] == {"feeder.drum_moved": "9999-01-01T00:00:00Z"}
    assert plain["settings"] == {}


# ----------------------------------------------------------------------------------------------------------------- HTTP

JSON = {"content-type": "application/json"}


@pytest.fixture(scope="module")
def client() -> TestClient:
    return TestClient(create_app(), raise_server_exceptions=False)


@pytest.fixture(scope="module")
def faulty(demo_lines: dict[str, tuple[bytes, ...]]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(demo_lines["corn"][1])
    return found


def problem(response: Any, status: int = 422) -> dict[str, Any]:
    """The problem document of an answer."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == MEDIA
    body: dict[str, Any] = response.json()
    return body


def test_a_plan_puts_a_machine_right(client: TestClient, faulty: dict[str, Any]) -> None:
    response = client.post("/plans", json={"setup": faulty})
    assert response.status_code == 200
    body = response.json()
    assert PlanAnswer.model_validate(body, strict=True).model_dump() == body
    assert body["found"]["clearance"] == "held"
    (branch,) = body["branches"]
    cleared = {finding["rule"] for step in branch["plan"]["steps"] for finding in step["clears"]}
    assert "drum-set-for-another-crop" in cleared
    assert branch["plan"]["minutes"] == sum(step["minutes"] for step in branch["plan"]["steps"])


def test_a_conflict_is_an_answer(client: TestClient, faulty: dict[str, Any]) -> None:
    body = client.post("/plans", json={"setup": faulty, "locks": {"minutes": 0}}).json()
    (branch,) = body["branches"]
    assert branch["plan"] is None
    assert branch["conflict"]["rules"]
    assert {"kind": "minutes", "what": "0", "says": "at most 0 minutes", "opens": "more minutes are given"} in (
        branch["conflict"]["locks"]
    )
    assert PlanAnswer.model_validate(body, strict=True).model_dump() == body
    assert body["locks"] == {"leave": [], "lacking": [], "people": None, "minutes": 0.0}


def test_the_level_that_holds_may_be_asked_for(client: TestClient, demo_lines: dict[str, tuple[bytes, ...]]) -> None:
    setup = json.loads(demo_lines["corn"][4])
    for level, clearance in (("high", "cleared"), ("serious", "held")):
        body = client.post(f"/plans?hold_at={level}", json={"setup": setup}).json()
        assert body["found"]["clearance"] == clearance
    assert client.post("/plans", json={"setup": setup}).json()["found"]["clearance"] == "cleared"


def test_a_changeover_of_a_machine_as_found(client: TestClient, faulty: dict[str, Any]) -> None:
    asked = {"setup": faulty, "to": {"crop": "soya", "header": "draper"}, "locks": {"people": 3}}
    body = client.post("/changeovers", json=asked).json()
    assert ChangeoverAnswer.model_validate(body, strict=True).model_dump() == body
    assert (body["from_crop"], body["crop"], body["header_kind"]) == ("corn", "soybean", "corn-head")
    assert {branch["plan"]["header_kind"] for branch in body["branches"]} == {"draper"}
    assert body["unit"] == faulty["unit"]["id"]


def test_a_changeover_without_a_machine(client: TestClient) -> None:
    asked = {"card": "axial-single", "from": "corn", "to": {"crop": "soybean"}, "fitted": {"shoe.stroke": "long"}}
    body = client.post("/changeovers", json=asked).json()
    assert ChangeoverAnswer.model_validate(body, strict=True).model_dump() == body
    assert (body["from_crop"], body["crop"], body["card"]) == ("corn", "soybean", "axial-single")
    assert all(branch["plan"]["steps"] for branch in body["branches"])
    asked.pop("fitted")
    assert client.post("/changeovers", json=asked).status_code == 200


def test_a_what_if(client: TestClient, faulty: dict[str, Any]) -> None:
    changes = {
        "settings": {"feeder.drum": {"right": "raised"}},
        "readings": {"header.safety_stop": None},
        "job": {"ground_speed": "3 mph"},
    }
    body = client.post("/whatifs", json={"setup": faulty, "changes": changes}).json()
    assert WhatIfAnswer.model_validate(body, strict=True).model_dump() == body
    changed = {change["quantity"]: [one["value"] for one in change["after"]] for change in body["changes"]}
    assert changed.keys() == {"feeder.drum", "header.safety_stop", "job.ground_speed"}
    assert changed["feeder.drum"] == ["raised", "raised"]
    assert "drum-set-for-another-crop" in {finding["rule"] for finding in body["gone"]}
    assert {finding["verdict"] for finding in body["new"]} == {"unknown"}
    assert {fact["name"] for fact in body["facts"]} >= {"field.capacity"}


LOCKS: dict[str, Any] = {"leave": ["feeder.dru", "zzz"], "lacking": ["lifting strp"], "people": 0, "minutes": -1}
LOCK_PATHS = ["locks/lacking/0", "locks/leave/0", "locks/leave/1", "locks/minutes", "locks/people"]


@pytest.mark.parametrize(
    ("path", "asked", "paths"),
    [
        ("/plans", {"locks": LOCKS}, LOCK_PATHS),
        ("/plans", {"locks": []}, ["locks"]),
        ("/plans", {"lock": {}}, ["lock"]),
        ("/plans", {"setup": {"unit": {"id": "u", "card": "axial-singel"}, "job": {"crop": "korn"}}},
         ["setup/job/crop", "setup/unit/card"]),
        ("/plans", {"setup": []}, ["setup"]),
        ("/plans", {"setup": None}, ["setup"]),
        ("/changeovers", {"to": {"crop": "korn", "header": "drapr", "more": 1}, "locks": LOCKS},
         [*LOCK_PATHS, "to/crop", "to/header", "to/more"]),
        ("/changeovers", {"to": {}}, ["to"]),
        ("/changeovers", {"to": "corn"}, ["to", "to"]),
        ("/changeovers", {}, [""]),
        ("/changeovers", {"to": {"crop": "corn"}, "from": "corn"}, ["from"]),
        ("/changeovers", {"to": {"crop": "corn"}, "card": "axial-single", "from": "corn"}, ["card", "from"]),
        ("/changeovers", {"setup": ..., "card": "axial-singel", "from": "corn", "to": {"crop": "corn"}}, ["card"]),
        ("/changeovers", {"setup": ..., "card": "axial-single", "from": "korn", "to": {"crop": 1},
                          "fitted": {"a": 1}, "locks": {}}, ["fitted/a", "from", "locks", "to/crop"]),
        ("/changeovers", {"setup": ..., "card": "axial-single", "to": {"crop": "corn"}, "fitted": []}, ["", "fitted"]),
        ("/whatifs", {"changes": {"settings": {"feeder.dru": 1}, "job": {"crop": "korn"}, "fitted": {"a": "b"}},
                      "locks": LOCKS},
         ["changes/fitted/a", "changes/job/crop", "changes/settings/feeder.dru", *LOCK_PATHS]),
        ("/whatifs", {"changes": {"setings": {}}}, ["changes/setings"]),
        ("/whatifs", {"changes": []}, ["changes"]),
        ("/whatifs", {}, [""]),
    ],
)  # fmt: skip
def test_every_mistake_has_its_place(
    client: TestClient, faulty: dict[str, Any], path: str, asked: dict[str, Any], paths: list[str]
) -> None:
    sent = {key: value for key, value in {"setup": faulty, **asked}.items() if value is not ...}
    body = problem(client.post(path, json=sent))
    assert [one["path"] for one in body["problems"]] == paths
    assert all(one["message"] for one in body["problems"])


@pytest.mark.parametrize("path", ["/plans", "/changeovers", "/whatifs"])
@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        (b"", 400, "is not JSON"),
        (b"\xff\xfe{}", 400, "is not UTF-8"),
        (b"[]", 422, "a request must be a mapping, not a list."),
        (b"null", 422, "a request must be a mapping, not null."),
        (b"{}", 422, "lacks 'setup'"),
        (b'{"setup": 1, "setup": 2}', 422, "stands twice"),
        (b'{"setup": {"unit": {"id": "u", "id": "v"}}}', 422, "setup/unit/id"),
        (b'{"setup": ' + b'{"a":' * 40 + b"1" + b"}" * 41, 422, "nested"),
        (b'{"setup": {"unit": {"id": "\\ud800"}}}', 422, "surrogate"),
        (b'{"setup": NaN}', 422, "finite"),
    ],
)
def test_bad_bodies(client: TestClient, path: str, body: bytes, status: int, says: str) -> None:
    answer = problem(client.post(path, content=body, headers=JSON), status)
    assert says in json.dumps(answer, ensure_ascii=False)


@pytest.mark.parametrize("path", ["/plans", "/changeovers", "/whatifs"])
def test_media_size_and_method(client: TestClient, path: str) -> None:
    problem(client.post(path, content=b"{}", headers={"content-type": "text/plain"}), 415)
    problem(client.post(path, content=b" " * (MOST_BYTES + 1), headers=JSON), 413)
    problem(client.put(path, json={}), 405)
    problem(client.post(f"{path}?hold_at=never", json={}))


def test_time_that_ran_out_is_no_conflict(
    client: TestClient, faulty: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise OutOfTime

    monkeypatch.setattr(routes, "_plan", never)
    answer = problem(client.post("/plans", json={"setup": faulty}), 503)
    assert answer["detail"] == "no plan was found in 10 seconds; nothing says that there is none."


def test_the_examples_of_the_document_are_taken(client: TestClient) -> None:
    paths = client.get("/openapi.json").json()["paths"]
    for path in ("/plans", "/changeovers", "/whatifs"):
        example = paths[path]["post"]["requestBody"]["content"]["application/json"]["example"]
        assert example["setup"] == EXAMPLE
        assert client.post(path, json=example).status_code == 200
