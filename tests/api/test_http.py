"""The HTTP door: answers, problem details, hostile bodies."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema_rs import validator_for
from pydantic import BaseModel

from api.app import create_app
from api.errors import MEDIA, MOST_PROBLEMS
from api.models import Audit, CardLine, CropLine, Health, ProblemAnswer, RuleAnswer, RulebookAnswer
from api.routes.audits import EXAMPLE
from audit.intake.json_text import MOST_BYTES
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput
from tests.api.whole import whole_app

DEMO = Path(__file__).parents[2] / "api" / "demo"
LINES = [line for path in sorted(DEMO.glob("*.ndjson")) for line in path.read_bytes().splitlines()]
JSON = {"content-type": "application/json"}
RULES = ("drum-set-for-another-crop", "range-cannot-reach-speed", "shaft-speed-off")


@pytest.fixture(scope="module")
def client() -> TestClient:
    return TestClient(create_app(), raise_server_exceptions=False)


def problem(response: Any, status: int) -> dict[str, Any]:
    """The problem document of an answer."""
    assert response.status_code == status
    assert response.headers["content-type"] == MEDIA
    body: dict[str, Any] = response.json()
    assert body["status"] == status
    assert body["title"]
    assert body["detail"]
    return body


def test_an_audit_ranks_its_findings(client: TestClient) -> None:
    body = client.post("/audits", json=EXAMPLE).json()
    assert body["clearance"] == "held"
    levels = ["high", "serious", "medium", "low"]
    order = [(levels.index(f["risk"]["level"]), f["risk"]["index"], -f["risk"]["downtime_h"]) for f in body["findings"]]
    assert order == sorted(order)
    assert len(set(order)) > 5
    drum = next(f for f in body["findings"] if f["rule"] == "drum-set-for-another-crop")
    assert drum["found"] == [
        {
            "quantity": "feeder.drum", "meaning": "Height of the drum at the intake end of the feeder house",
            "side": "right", "value": "lowered", "shown": "lowered", "unit": "", "wanted": "raised", "past": None,
            "why_unknown": "",
        }
    ]  # fmt: skip
    assert drum["cure"][0]["steps"]
    assert drum["basis"]["ground"] == "common practice"
    assert "facts" not in body


def test_facts_and_threshold_are_asked_for(client: TestClient) -> None:
    assert client.post("/audits?facts=true", json=EXAMPLE).json()["facts"]
    line = json.loads(LINES[4])
    assert client.post("/audits", json=line).json()["clearance"] == "cleared"
    assert client.post("/audits?hold_at=serious", json=line).json()["clearance"] == "held"
    assert client.post("/audits", json=line).json()["clearance"] == "cleared"


@pytest.mark.parametrize(
    ("path", "key"),
    [
        ("/rulebook", "rules"),
        ("/rulebook/rules/chopper-knife-missing", "hold"),
        ("/machine-cards/axial-hybrid", "drives"),
        ("/machine-cards/axial-hybrid/schema", "properties"),
        ("/crop-cards/soybean", "targets"),
    ],
)
def test_resources_are_kept_until_the_rulebook_changes(client: TestClient, path: str, key: str) -> None:
    first = client.get(path)
    assert key in first.json()
    again = client.get(path, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert client.get(path, headers={"if-none-match": '"other"'}).status_code == 200


def test_lists_and_health(client: TestClient) -> None:
    assert len(client.get("/machine-cards").json()) == 3
    assert len(client.get("/crop-cards").json()) == 12
    health = client.get("/health").json()
    assert health["status"] == "ok"
    assert health["rules"] >= 80


@pytest.mark.parametrize(
    ("path", "nearest"),
    [
        ("/rulebook/rules/chopper-knife-mising", "chopper-knife-missing"),
        ("/machine-cards/axial-singel", "axial-single"),
        ("/machine-cards/..%2f..%2fetc%2fpasswd", ""),
        ("/crop-cards/korn", "corn"),
        ("/nothing", ""),
    ],
)
def test_what_is_not_there(client: TestClient, path: str, nearest: str) -> None:
    assert nearest in problem(client.get(path), 404)["detail"]


SETUP = b'{"unit": {"id": "u", "card": "axial-single"}, "job": {"crop": "corn"}, "settings": {"rotor.speed": %s}}'


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        pytest.param(b"", 400, "is not JSON", id="empty"),
        pytest.param(b"{bad", 400, "line 1, column 2", id="broken"),
        pytest.param(b"\xff\xfe{}", 400, "is not UTF-8", id="not utf-8"),
        pytest.param(b"[]", 422, "must be a mapping", id="array"),
        pytest.param(b"null", 422, "must be a mapping", id="null"),
        pytest.param(SETUP % b"NaN", 422, "finite", id="nan"),
        pytest.param(SETUP % b"1e999", 422, "finite", id="infinite"),
        pytest.param(SETUP % b"30000", 422, "impossible", id="impossible"),
        pytest.param(SETUP % b'310, "rotor.speed": 410', 422, "stands twice", id="twice"),
        pytest.param(b'{"a":' * 5000 + b"1" + b"}" * 5000, 422, "nested", id="deep"),
        pytest.param(b"9" * 5000, 422, "can't be read", id="digits"),
        pytest.param(SETUP % b'"\\u0000"', 422, "not a number", id="nul"),
        pytest.param(SETUP % b'"\\ud800"', 422, "settings/rotor.speed", id="half a surrogate pair"),
        pytest.param(SETUP.replace(b'"u"', b'"\\ud800"') % b"310", 422, "surrogate", id="half a pair as id"),
        pytest.param(b'{"is not JSON": 1}', 422, "has no key", id="key that says not JSON"),
        pytest.param(SETUP % b'"is not UTF-8"', 422, "not a number", id="value that says not UTF-8"),
        pytest.param(SETUP % (b"1" + b"0" * 400), 422, "settings/rotor.speed", id="digits of a number"),
        pytest.param(json.dumps(EXAMPLE).encode("utf-16"), 400, "is not UTF-8", id="utf-16"),
        pytest.param(b"{}{}", 400, "line 1, column 3", id="two setups"),
    ],
)
def test_bad_bodies(client: TestClient, body: bytes, status: int, says: str) -> None:
    answer = problem(client.post("/audits", content=body, headers=JSON), status)
    assert says in json.dumps(answer, ensure_ascii=False)


def test_a_refused_setup_names_every_place(client: TestClient) -> None:
    setup = {**EXAMPLE, "settings": {"feeder.dru": "raised", "rotor.speed": "310 mm"}}
    body = problem(client.post("/audits", json=setup), 422)
    assert [(p["path"], p["advice"]) for p in body["problems"]] == [
        ("settings/feeder.dru", "Did you mean 'feeder.drum'?"),
        ("settings/rotor.speed", ""),
    ]


def test_a_body_of_mistakes_is_not_answered_by_a_larger_one(client: TestClient) -> None:
    body = problem(client.post("/audits", json={f"x{number}": 1 for number in range(300)}), 422)
    assert len(body["problems"]) == MOST_PROBLEMS
    assert "And 301 more." in body["detail"]  # 300 keys, and 'unit' and 'job' are missing
    answer = client.post("/audits", json={"x" * 1_000_000: 1})
    assert len(answer.content) < 10_000


def test_answers_are_what_the_document_says(client: TestClient) -> None:
    """Every key of an answer is documented, with its type."""
    answers: list[tuple[type[BaseModel], Any]] = [
        (Audit, client.post("/audits?facts=true", json=EXAMPLE).json()),
        (Audit, client.post("/audits", json=json.loads(LINES[0])).json()),
        (RulebookAnswer, client.get("/rulebook").json()),
        *((RuleAnswer, client.get(f"/rulebook/rules/{rule}").json()) for rule in RULES),
        *((CardLine, line) for line in client.get("/machine-cards").json()),
        *((CropLine, line) for line in client.get("/crop-cards").json()),
        (Health, client.get("/health").json()),
        (ProblemAnswer, client.post("/audits", json={}).json()),
    ]
    for model, answer in answers:
        assert model.model_validate(answer, strict=True).model_dump(exclude_unset=True) == answer


@pytest.mark.parametrize(
    "headers",
    [
        {"content-length": "9" * 5000},
        {"content-length": str(MOST_BYTES + 1)},
    ],
)
def test_a_length_that_is_too_large_is_believed(client: TestClient, headers: dict[str, str]) -> None:
    problem(client.post("/audits", content=b"{}", headers={**JSON, **headers}), 413)


def test_media_size_and_method(client: TestClient) -> None:
    problem(client.post("/audits", content=b"{}", headers={"content-type": "text/plain"}), 415)
    problem(client.post("/audits", content=b"{}", headers={**JSON, "content-encoding": "gzip"}), 415)
    problem(client.post("/audits", content=b" " * (MOST_BYTES + 1), headers=JSON), 413)
    problem(client.post("/audits", content=iter([b" " * MOST_BYTES, b"  "]), headers=JSON), 413)
    answer = client.put("/audits", json={})
    problem(answer, 405)
    assert answer.headers["allow"] == "POST"
    problem(client.post("/audits?facts=perhaps", json=EXAMPLE), 422)


def test_an_error_of_ours_shows_nothing_of_it(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.report_bytes.envelope_json", lambda *_: 1 / 0)
    body = problem(client.post("/audits", json=EXAMPLE), 500)
    assert "division" not in json.dumps(body)


@pytest.mark.parametrize("card", ["axial-single", "tangential-walker", "axial-hybrid"])
def test_the_schema_takes_what_the_audit_takes(client: TestClient, card: str) -> None:
    schema = validator_for(client.get(f"/machine-cards/{card}/schema").json())
    setups = [json.loads(line) for line in LINES]
    own = [setup for setup in setups if setup["unit"]["card"] == card]
    assert own
    for setup in own:
        assert not [error.message for error in schema.iter_errors(setup)]
        for wrong in (
            {**setup, "extra": 1},
            {**setup, "settings": {"no.such": 1}},
            {**setup, "readings": {"clean_elevator.chain_slides": "perhaps"}},
            {**setup, "unit": {**setup["unit"], "card": "another"}},
        ):
            assert not schema.is_valid(wrong)
            assert client.post("/audits", json=wrong).status_code == 422


def test_the_openapi_document_is_reviewed(tmp_path: Path) -> None:
    """Renew it with `python tests/api/renew_openapi.py`, then read the difference."""
    kept = json.loads((Path(__file__).parent / "openapi.json").read_text(encoding="utf-8"))
    assert TestClient(whole_app(tmp_path)[0]).get("/openapi.json").json() == kept


UNKNOWN: list[Any] = [None, {"value": None}]
BAD: list[Any] = [" ", [], {}, {"unit": "mm"}, {"value": [1]}, {"value": 1, "by": 1}, {"mid": 1}]
OF_FORM: dict[str, tuple[tuple[Any, ...], tuple[Any, ...]]] = {
    "number": ((), (True, "x", 1e12)),
    "yes_no": ((True, False, {"value": True, "with": "eye"}), (1, "true", {"value": True, "unit": "mm"})),
    "time": (("2026-08-11T07:40:00Z", "2026-08-11T07:40:00+02:00"), (1, "x", "2026-08-11", "2026-08-11T07:40:00")),
    "word": ((), (1, True, "no such word", {"value": "no such word"})),
}


@pytest.mark.parametrize("card", ["axial-single", "tangential-walker", "axial-hybrid"])
def test_schema_and_audit_agree_on_every_key(client: TestClient, card: str) -> None:
    """One setup holds the n-th value for every key at once; both must refuse the same keys of it."""
    schema = validator_for(client.get(f"/machine-cards/{card}/schema").json())
    quantities = client.get(f"/machine-cards/{card}").json()["quantities"]
    table = {(f"{quantity['role']}s", quantity["name"]): _values(quantity) for quantity in quantities}
    assert len(table) > 200
    rulebook = client.app.state.engines.rulebook  # type: ignore[attr-defined]
    for turn in range(max(len(values) for values in table.values())):
        setup: dict[str, Any] = {"unit": {"id": "u", "card": card}, "job": {"crop": "corn"}}
        for (section, name), values in table.items():
            if turn < len(values):
                setup.setdefault(section, {})[name] = values[turn]
        by_schema = {tuple(error.instance_path[:2]) for error in schema.iter_errors(setup)}
        try:  # not by HTTP, which lists only the first problems
            read_setup(json.dumps(setup).encode(), "", rulebook)
            by_audit = set()
        except BadInput as error:
            by_audit = {tuple(problem.place.path.split("/")[:2]) for problem in error.problems}
        assert by_schema == by_audit


def _values(quantity: dict[str, Any]) -> list[Any]:
    good, bad = OF_FORM[quantity["form"]]
    words = [
        wrapped
        for word in list(quantity["words"])[:2]
        for wrapped in (word, {"value": word}, {"value": word, "with": "eye"})
    ]
    bounds = [quantity[end] for end in ("lowest", "highest") if quantity[end] is not None]
    numbers = [wrapped for bound in bounds for wrapped in (bound, {"value": bound, "unit": quantity["unit"]})]
    sides = [{"left": None}, {"left": None, "right": None}, {"left": None, "right": None, "mid": None}]
    return [*UNKNOWN, *BAD, *good, *bad, *words, *numbers, *sides]
