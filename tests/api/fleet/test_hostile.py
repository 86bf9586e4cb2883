"""Bad rows are set aside with place and reason; nothing is lost and nothing stops."""

from __future__ import annotations

import gzip
import io
import json
import random
from pathlib import Path
from typing import Any

import polars as pl
import pytest
import zstandard

from api.fleet.run import status_of
from audit.nouns.problem import BadInput

GOOD = b'{"unit": {"id": "a", "card": "axial-single"}, "job": {"crop": "corn"}}'
HEAD = b"unit.id,unit.card,job.crop,readings.feeder.sheave_gap,readings.feeder.safety_stop,settings.feeder.drum.left\n"

BAD_LINES = {
    "no JSON": b"{nonsense}",
    "cut off": GOOD[:-9],
    "a number": b"17",
    "null": b"null",
    "an array in a line": b'[{"a": 1}]',
    "not UTF-8": GOOD.replace(b'"a"', b'"\xff"'),
    "a key twice": GOOD.replace(b'"id": "a",', b'"id": "a", "id": "b",'),
    "a key twice behind a null": GOOD.replace(b'"id": "a",', b'"id": "a", "owner": null, "id": "b",'),
    "a key twice behind a comma": GOOD.replace(b'"id": "a",', b'"id": "a", "owner": "x, y", "owner": "z",'),
    "unknown key": GOOD.replace(b'"id": "a",', b'"id": "a", "colour": "red",'),
    "unknown card": GOOD.replace(b"axial-single", b"axial-singel"),
    "unknown crop": GOOD.replace(b"corn", b"cron"),
    "unknown reading": GOOD[:-1] + b', "readings": {"feeder.drun": 1}}',
    "wrong unit": GOOD[:-1] + b', "readings": {"feeder.sheave_gap": "3 kg"}}',
    "impossible": GOOD[:-1] + b', "readings": {"feeder.sheave_gap": -1}}',
    "not a number": GOOD[:-1] + b', "readings": {"feeder.sheave_gap": NaN}}',
    "half a surrogate": GOOD.replace(b'"a"', b'"\\ud800"'),
    "deep": b"[" * 5000,
    "no unit": b'{"job": {"crop": "corn"}}',
    "blank id": GOOD.replace(b'"a"', b'" "'),
}


@pytest.mark.parametrize("bad", BAD_LINES.values(), ids=list(BAD_LINES))
def test_a_bad_line_between_good_ones(audit: Any, bad: bytes) -> None:
    found = audit(b"\n".join([GOOD, b"", bad, b"  ", GOOD]))
    assert [line["row"] for line in found.lines("units")] == [1, 3]
    assert [line["source"].rpartition(":")[2] for line in found.lines("units")] == ["1", "5"]
    (aside,) = found.lines("set-aside")
    assert aside["source"].endswith(":3")
    assert aside["text"] == bad.decode("utf-8", "replace")[:10_000]
    assert aside["problems"]
    assert all(problem["message"] for problem in aside["problems"])
    assert status_of(found.summary) == 2


@pytest.mark.parametrize(
    "bad", [text for name, text in BAD_LINES.items() if name not in ("deep", "cut off", "no JSON")]
)
def test_a_bad_item_between_good_ones(audit: Any, bad: bytes) -> None:
    found = audit(b"[" + b", ".join([GOOD, bad, GOOD]) + b"]")
    assert [line["source"].rpartition("[")[2] for line in found.lines("units")] == ["1]", "3]"]
    assert [line["text"] for line in found.lines("set-aside")] == [bad.decode("utf-8", "replace")]


@pytest.mark.parametrize(
    ("text", "good", "aside"),
    [
        (b"[" + GOOD + b", {nonsense}, " + GOOD + b"]", 2, ["{nonsense}"]),
        (b"[" + GOOD + b", " + GOOD[:-9], 1, [GOOD[:-9].decode()]),
        (b"[" + GOOD + b"] trailing", 1, ["trailing"]),
        (b"[" + GOOD + b",]", 1, ["]"]),
        (b"[" + GOOD + b" " + GOOD + b"]", 0, [(GOOD + b" " + GOOD + b"]").decode()]),
        (b"[", 0, ["["]),
        (b"[[]]", 0, ["[]"]),
        (b"[" + b'{"a":' * 40 + b"1" + b"}" * 40 + b"]", 0, [('{"a":' * 40 + "1" + "}" * 40 + "]")]),
        (b'{\n "unit": 1,\n "x": 2\n}\n', 0, ['{\n "unit": 1,\n "x": 2\n}\n']),
    ],
    ids=str,
)  # fmt: skip
def test_a_broken_array(audit: Any, text: bytes, good: int, aside: list[str]) -> None:
    found = audit(text)
    assert len(found.lines("units")) == good
    assert [line["text"] for line in found.lines("set-aside")] == aside


def test_brackets_and_quotes_in_texts_do_not_cut_items(audit: Any) -> None:
    odd = json.dumps(json.loads(GOOD) | {"taken": {"by": '}] , "[{\\'}}).encode()
    assert [line["row"] for line in audit(b"[" + odd + b"," + GOOD + b"]").lines("units")] == [1, 2]


@pytest.mark.parametrize("text", [b"", b"\n \n", b"[]", b"[ \n]", HEAD, HEAD + b"\n"], ids=str)
@pytest.mark.parametrize("packed", [bytes, gzip.compress, zstandard.ZstdCompressor().compress])
def test_an_empty_input_is_set_aside(audit: Any, text: bytes, packed: Any) -> None:
    found = audit(packed(text), GOOD)
    (aside,) = found.lines("set-aside")
    assert aside["problems"][0]["message"] == "holds no setup."
    assert [line["row"] for line in found.lines("units")] == [2]


@pytest.mark.parametrize("packed", [gzip.compress, zstandard.ZstdCompressor().compress])
def test_a_packed_input_that_breaks_off(audit: Any, packed: Any) -> None:
    """What stands before is audited, what can't be read is said."""
    chance = random.Random(1)  # so that nothing repeats, and there is more than one block to decompress
    ids = [chance.randbytes(120).hex() for _ in range(1500)]
    lines = b"".join(GOOD.replace(b'"a"', f'"{one}"'.encode()) + b"\n" for one in ids)
    text = packed(lines)
    found = audit(text[: len(text) * 3 // 4], GOOD)
    (aside,) = [line for line in found.lines("set-aside") if "decompressed" in line["problems"][0]["message"]]
    assert "breaks off" in aside["problems"][0]["message"] or "ended" in aside["problems"][0]["message"]
    units = found.lines("units")
    assert 100 < len(units) < 1501
    assert units[-1]["unit"] == "a"


def test_several_frames_and_members(audit: Any) -> None:
    for pack in (gzip.compress, zstandard.ZstdCompressor().compress):
        assert audit(pack(GOOD + b"\n") + pack(GOOD + b"\n")).summary["audited"] == 2


def test_a_line_longer_than_any_setup(audit: Any) -> None:
    long = GOOD[:-1] + b', "x": "' + b"y" * (5 * 1024 * 1024) + b'"}'
    after = b"\n".join([long, *[GOOD] * 3])  # what is read with the end of the long line has lines of its own
    for text in (long + b"\n" + GOOD, after, GOOD + b"\n" + after + b"\n", GOOD + b"\n" + long):
        found = audit(text)
        (aside,) = found.lines("set-aside")
        assert "longer than" in aside["problems"][0]["message"]
        assert len(aside["text"]) == 10_000
        assert found.summary["audited"] == text.count(b'"id"') - 1


def test_utf_16_and_a_byte_order_mark(audit: Any) -> None:
    (aside,) = audit(GOOD.decode().encode("utf-16")).lines("set-aside")
    assert "UTF-16" in aside["problems"][0]["message"]
    assert audit(b"\xef\xbb\xbf" + GOOD).summary["audited"] == 1
    assert audit(b"\xef\xbb\xbf" + HEAD + b"a,axial-single,corn,,,\n").summary["audited"] == 1


BAD_RECORDS = {
    "too few cells": b"a,axial-single,corn",
    "too many cells": b"a,axial-single,corn,,,,",
    "no id": b",axial-single,corn,,,",
    "unknown card": b"a,axial,corn,,,",
    "no card": b"a,,corn,,,",
    "unknown crop": b"a,axial-single,cron,,,",
    "no crop": b"a,axial-single,,,,",
    "wrong unit": b"a,axial-single,corn,3 kg,,",
    "impossible": b"a,axial-single,corn,-1,,",
    "endless": b"a,axial-single,corn," + b"9" * 400 + b",,",
    "infinite": b"a,axial-single,corn,inf,,",
    "no number": b"a,axial-single,corn,nan,,",
    "no yes or no": b"a,axial-single,corn,,maybe,",
    "unknown word": b"a,axial-single,corn,,,sideways",
    "not UTF-8": b"\xff,axial-single,corn,,,",
}


@pytest.mark.parametrize("bad", BAD_RECORDS.values(), ids=list(BAD_RECORDS))
def test_a_bad_record_between_good_ones(audit: Any, bad: bytes) -> None:
    found = audit(
        HEAD
        + b'a,axial-single,corn,,,\n\n"b",axial-single,corn,5/32 in,TRUE,raised\n'
        + bad
        + b"\nc,axial-single,corn,,,\n"
    )
    assert [(line["unit"], line["source"].rpartition(":")[2]) for line in found.lines("units")] == [
        ("a", "2"), ("b", "4"), ("c", "6"),
    ]  # fmt: skip
    (aside,) = found.lines("set-aside")
    assert aside["source"].endswith(":5")
    assert aside["text"] == bad.decode("utf-8", "replace") + "\n"
    assert aside["problems"]


def test_quoted_line_ends_and_quotes(audit: Any) -> None:
    found = audit(HEAD + b'"a ""first""\nunit",axial-single,corn,,,\nb,axial-single,corn,,,\n', size=64)
    assert [(line["unit"], line["row"], line["source"].rpartition(":")[2]) for line in found.lines("units")] == [
        ('a "first"\nunit', 1, "2"), ("b", 2, "4"),
    ]  # fmt: skip


def test_a_quote_that_is_never_closed(audit: Any) -> None:
    """It costs the records behind it, which are kept as text; those before it are audited."""
    record = b"u,axial-single,corn,,,\n"
    found = audit(HEAD + record * 500 + b'"' + record * 3000)
    assert found.summary["audited"] == 500
    assert found.summary["set_aside"] >= 1


@pytest.mark.parametrize(
    ("header", "message", "advice"),
    [
        (b"unit.id,unit.card,job.crop,readings.feeder.sheave_gab", "there is no column", "feeder.sheave_gap"),
        (b"unit.id,unit.card,job.crop,unit.id", "stands twice", ""),
        (b"unit.id,job.crop", "lacks the column 'unit.card'", ""),
        (b"unit.id,unit.card,job.crop,settings.feeder.drum,settings.feeder.drum.left", "both sides", ""),
        (b"unit.id\xff,unit.card,job.crop", "not UTF-8", ""),
    ],
)
def test_unknown_columns_are_refused_at_once(
    audit: Any, tmp_path: Path, header: bytes, message: str, advice: str
) -> None:
    with pytest.raises(BadInput) as refused:
        audit(GOOD, header + b"\na,axial-single,corn,\n", out=tmp_path / "never")
    assert message in str(refused.value)
    assert advice in str(refused.value)
    assert not list((tmp_path / "never").iterdir())


def test_columns_of_another_card_must_be_empty(audit: Any) -> None:
    table = b"unit.id,unit.card,job.crop,settings.rotor.range\na,axial-single,corn,low\nb,tangential-walker,corn,\nc,tangential-walker,corn,low\n"
    found = audit(table)
    assert [line["unit"] for line in found.lines("units")] == ["a", "b"]
    assert (
        "rotor.range"
        in found.lines("set-aside")[0]["problems"][0]["message"] + found.lines("set-aside")[0]["problems"][0]["path"]
    )


@pytest.mark.parametrize(
    "column",
    [pl.Series([[1.0]]), pl.Series([{"a": 1}]), pl.Series([b"x"])],
    ids=["list", "struct", "binary"],
)
def test_a_table_with_cells_that_are_none_is_refused(audit: Any, column: pl.Series) -> None:
    out = io.BytesIO()
    pl.DataFrame(
        {"unit.id": ["a"], "unit.card": ["axial-single"], "job.crop": ["corn"], "readings.feeder.sheave_gap": column}
    ).write_parquet(out)
    with pytest.raises(BadInput, match="of type"):
        audit(out.getvalue())


def test_bad_cells_of_a_table(audit: Any) -> None:
    out = io.BytesIO()
    pl.DataFrame(
        {
            "unit.id": ["a", "b", "c", "d"],
            "unit.card": ["axial-single"] * 4,
            "job.crop": ["corn", "corn", None, "corn"],
            "readings.feeder.sheave_gap": [0.15, float("nan"), 0.15, float("inf")],
            "readings.feeder.drum_pins_home": [True, True, True, None],
        }
    ).write_parquet(out)
    found = audit(out.getvalue())
    assert [line["unit"] for line in found.lines("units")] == ["a"]
    assert [line["source"].rpartition(":")[2] for line in found.lines("set-aside")] == ["2", "3", "4"]


def test_parquet_that_is_cut_off_is_refused_at_once(audit: Any, demo_setups: Any, written: Any) -> None:
    with pytest.raises(BadInput, match="no Parquet file that can be read"):
        audit(written(demo_setups[:2], "parquet")[:-100])


def test_inputs_that_are_not_there(audit: Any, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as refused:
        audit(inputs=[str(tmp_path / "none-*.ndjson"), str(tmp_path / "none.csv"), "-", "-"])
    assert len(refused.value.problems) == 3
