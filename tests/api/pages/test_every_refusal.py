"""Every refusal that the code can make is told in every language, as found in the code itself, whoever raises it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.pages.languages import OF_PAGES
from api.pages.telling import teller
from tests.api.pages.test_refusals import english_in

ROOT = Path(__file__).parents[3]
TAGS = [path.stem for path in sorted(OF_PAGES.glob("*.po"))]
PLACES = (
    "api/routes", "api/service", "api/identity", "api/store", "api/exchange", "api/pages", "audit/intake",
    "audit/fleet/visits.py", "audit/measures.py", "audit/cases.py", "api/errors.py", "api/middleware",
)  # fmt: skip
FOR_WHO_RUNS_IT = (
    "api/identity/code_flow.py", "api/identity/fetch.py", "api/identity/id_token.py", "api/identity/issuer.py",
    "api/identity/compact.py", "api/identity/metadata.py", "api/identity/sign_on.py", "api/store/backup.py",
    "api/store/database.py", "api/store/record_lines.py", "api/middleware/rates.py", "api/identity/signed.py",
)  # fmt: skip
"""Modules whose refusals stand in the log or at the command line: a page says no more than that it failed."""
CALLS = frozenset(
    {"Refusal", "NotRead", "refuse", "note", "forbidden", "AccessRefused", "Unsafe", "NotReached", "Problem",
     "_problem", "add", "BadTerms"}
)  # fmt: skip
"""What takes a message, beside what is raised."""
BEHIND_A_PLACE = frozenset({"NotRead", "refuse", "Problem", "_problem", "add"})
"""Whose first argument says where it is."""
NOBODY_READS = (
    "FORMAT must be a Format",  # a module of ours that is wrong
    "not a JSON value: ",
    "a sheet asked for ",
    "a key stands twice",  # read again, slowly, by what says where
)
HOLES = ("7", "xyz", "'xyz'", "pin", "an")


def written(node: ast.expr, hole: str) -> str | None:
    """A text as the code writes it, with something for each part; None for what is no text."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return "".join(str(one.value) if isinstance(one, ast.Constant) else hole for one in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        parts = [written(node.left, hole), written(node.right, hole)]
        return None if parts == [None, None] else "".join(hole if one is None else one for one in parts)
    return None


def taken(node: ast.AST) -> list[ast.expr]:
    """What a node gives to something that refuses."""
    call = node.exc if isinstance(node, ast.Raise) else node
    if not isinstance(call, ast.Call):
        return []
    name = getattr(call.func, "id", getattr(call.func, "attr", ""))
    if not isinstance(node, ast.Raise) and name not in CALLS:
        return []
    places = name in BEHIND_A_PLACE and len(call.args) > 1
    given = [*call.args[places:], *(one.value for one in call.keywords)]
    return [part for one in given for part in ((one.body, one.orelse) if isinstance(one, ast.IfExp) else (one,))]


def messages() -> Iterator[tuple[str, list[str]]]:
    """Every message of more than a word, where it stands, and as it may read."""
    for place in PLACES:
        path = ROOT / place
        for module in [path] if path.is_file() else sorted(path.rglob("*.py")):
            named = str(module.relative_to(ROOT))
            if named in FOR_WHO_RUNS_IT:
                continue
            for node in ast.walk(ast.parse(module.read_text())):
                for part in taken(node):
                    found = [text for hole in HOLES if (text := written(part, hole)) is not None]
                    bare = written(part, "") or ""
                    if found and " " in bare.strip() and sum(char.isalpha() for char in bare) > 3:
                        yield f"{named}:{part.lineno}", found


def test_messages_are_found() -> None:
    found = dict(messages())
    assert len(found) > 500
    assert any(place.startswith("api/exchange/reading/task_devices.py") for place in found)


@pytest.mark.parametrize("tag", TAGS)
def test_every_refusal_of_the_code_is_told(tag: str) -> None:
    tell, left = teller(tag, "card"), []
    for place, texts in messages():
        if any(part in texts[0] for part in NOBODY_READS):
            continue
        # readers of farm systems leave the full stop to whoever puts place, reason and advice together
        said = {form: tell.refusal(form) for text in texts for form in (text, f"{text}.")}
        if not any(told != text and not english_in(told) for text, told in said.items()):
            left.append(f"{place}: {texts[1]}")
    assert not left, "put its phrase among the refusals:\n" + "\n".join(sorted(left))
