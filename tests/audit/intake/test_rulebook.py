"""Reading a rulebook: every kind of mistake is named with its file, its line and what to do; all are found at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook
from audit.nouns.problem import BadInput
from audit.nouns.source import Ground

Change = Callable[[str, str, str], Path]
Build = Callable[[Mapping[str, str | bytes]], Path]
Files = dict[str, str | bytes]


def problems(root: Path, *sites: Path) -> list[str]:
    with pytest.raises(BadInput) as refused:
        read_rulebook(root, sites)
    return [str(problem) for problem in refused.value.problems]


def test_the_small_rulebook_is_right(site: Build, small: Files) -> None:
    book = read_rulebook(site(small))
    assert (list(book.rules), list(book.machines), list(book.crops)) == (["gap-too-wide"], ["mini"], ["corn"])


RULE, CARD, CROP = "packs/feeder/gap-too-wide.yaml", "machines/mini.yaml", "crops/corn.yaml"
WORK, WORDS = "procedures/move-drum.yaml", "quantities.yaml"

# file, old text, new text, line of the problem, what is said, advice
MISTAKES = [
    # rules
    (RULE, "title: Drum set", "titel: Drum set", 1, "lacks 'title'", "Add 'title:'."),
    (RULE, "why: The", "wy: The", 2, "has no key 'wy'", "Did you mean 'why'?"),
    (RULE, "title: Drum set for another crop", "title: 12", 1, "'title' must be text, not 12", "Put it in quotes."),
    (RULE, "severity: critical", "severity: critcal", 3, "'severity' is 'critcal'", "Did you mean 'critical'?"),
    (RULE, "probability: remote", "probability: 3", 3, "it must be one of: frequent, probable", ""),
    (RULE, "downtime: 8 h", "downtime: 8", 3, "'downtime': 8 has no unit", "'8 mm'"),
    (RULE, "downtime: 8 h", "downtime: 8 mm", 3, "'mm' is a unit of length, a time is wanted", "h, min, s, d"),
    (RULE, "to: probable}]", "to: improbable}]", 3, "'rises' must go up", ""),
    (RULE, "past: 10 %", "past: 0 %", 3, "'rises' must go up", ""),
    (RULE, "source: handbook", "source: handbok", 4, "no source is called 'handbok'", "Did you mean 'handbook'?"),
    (RULE, ", source: handbook, at: p. 3", "", 4, "a published basis must name its source", "a key of sources.yaml"),
    (RULE, "ground: published", "ground: hearsay", 4, "'ground' is 'hearsay'", ""),
    (RULE, "ground: published, ", "", 4, "lacks 'ground'", "Add 'ground:'."),
    (RULE, "severity: critical, ", "", 3, "lacks 'severity'", "Add 'severity:'."),
    (WORDS, "{meaning: Sheave gap, unit: mm, ", "{meaning: Sheave gap, ", 20, "lacks 'unit'", "Add 'unit:'."),
    (RULE, "hold:\n  feeder.sheave_gap: {at_most: 4 mm}\n", "", 1, "lacks 'hold'", "Add 'hold:'."),
    (RULE, "feeder.sheave_gap: {at_most", "feeder.sheave_gab: {at_most", 7, "no quantity is called 'feeder.sheave_gab'",
     "Did you mean 'feeder.sheave_gap'?"),
    (RULE, "feeder.sheave_gap: {at_most", "sheave_gap: {at_most", 7, "a condition has no key 'sheave_gap'",
     "Quantities are named part.attribute."),
    (RULE, "{at_most: 4 mm}", "{atmost: 4 mm}", 7, "no relation is called 'atmost'", "Did you mean 'at_most'?"),
    (RULE, "{at_most: 4 mm}", "{at_most: 4 kg}", 7, "'kg' is a unit of mass, a length is wanted", "mm, cm, m, in, ft"),
    (RULE, "{at_most: 4 mm}", "{at_most: 4}", 7, "4 has no unit", "write it as text with one"),
    (RULE, "{at_most: 4 mm}", "{at_most: true}", 7, "is not a number with a unit", "write for example '12.5 mm'"),
    (RULE, "{at_most: 4 mm}", "{at_most: {of: job.grain_yield}}", 7, "they can't be compared", "kg/ha"),
    (RULE, "{at_most: 4 mm}", "{at_most: {of: feeder.drum}}", 7, "feeder.sheave_gap is a number, 'feeder.drum' a word", ""),
    (RULE, "{at_most: 4 mm}", "{at_most: {of: target.feeder.gap}}", 7, "no quantity is called 'feeder.gap'",
     "Did you mean 'feeder."),
    (RULE, "{at_most: 4 mm}", "{at_most: {times: 2}}", 7, "a limit lacks 'of'", ""),
    (RULE, "{at_most: 4 mm}", "{between: [5 mm, 4 mm]}", 7, "'between' has 5 mm above 4 mm", ""),
    (RULE, "{at_most: 4 mm}", "{between: [5 mm]}", 7, "'between' takes a list of two limits", ""),
    (RULE, "{at_most: 4 mm}", "{between: {of: feeder.sheave_gap}}", 7, "'between' takes a target whole", ""),
    (RULE, "{at_most: 4 mm}", "{near: {value: 4 mm}}", 7, "'near' lacks 'within'", ""),
    (RULE, "{at_most: 4 mm}", "{near: {value: 4 mm, within: 2 kg}}", 7, "'within': 'kg' is a unit of mass", ""),
    (RULE, "{at_most: 4 mm}", "{same: sides}", 7, "feeder.sheave_gap is not taken left and right", ""),
    (RULE, "{at_most: 4 mm}", "{same: 3}", 7, "'same' takes 'sides' or the name of another quantity", ""),
    (RULE, "{at_most: 4 mm}", "{recorded_after: feeder.drum_moved}", 7, "'recorded_after' compares two events", ""),
    (RULE, "feeder.sheave_gap: {at_most: 4 mm}", "feeder.drum: {at_most: 4 mm}", 7, "'at_most' is for numbers", ""),
    (RULE, "feeder.sheave_gap: {at_most: 4 mm}", "feeder.drum: {is: rased}", 7, "feeder.drum can't be 'rased'",
     "Did you mean 'raised'?"),
    (RULE, "feeder.sheave_gap: {at_most: 4 mm}", "feeder.safety_stop: {is: ja}", 7, "is true or false, not 'ja'", ""),
    (RULE, "feeder.sheave_gap: {at_most: 4 mm}", "feeder.drum_moved: {is: soon}", 7, "is not a date and time", "2026-"),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  if: {feeder.safety_stop: {is: true}}", 7, "'if' lacks its 'then'",
     "Write both on the same level."),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  then: {feeder.safety_stop: {is: true}}", 7, "'then' lacks its 'if'", ""),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  any: {feeder.safety_stop: {is: true}}", 7,
     "'any' must be a list of conditions", "Put each behind '- '."),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  {}", 7, "a condition says nothing", ""),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  feeder.gone.x: {is: 3}", 7, "no quantity is called", ""),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  each.condition: {is: sound}", 7, "nothing of family '' has that", ""),
    (RULE, "given:", "each: belts\ngiven:", 5, "no family is called 'belts'", "Did you mean 'belt'?"),
    (RULE, "  feeder.sheave_gap: {at_most: 4 mm}", "  rotor.centre: {at_most: 4 mm}", 1,
     "no machine card has a part called 'rotor'", ""),
    (RULE, "given: {job.condition: {is: heavy}}", "given: {build.feeder.tensoner: {is: slot}}", 1,
     "no machine card has the build 'feeder.tensoner'", "Did you mean 'build.feeder.tensioner'?"),
    (RULE, "cure: [move-drum]", "cure: [move-drums]", 8, "no procedure is called 'move-drums'", "Did you mean 'move-drum'?"),
    (RULE, "cure: [move-drum]", "cure: move-drum", 8, "'cure' must be a list", "Put it in [ ]."),
    (RULE, "gives: kept", "gives: right", 10, "'gives' is 'right'", ""),
    (RULE, "gives: kept", "gives: broken", 1, "has no case that gives kept", "Add one to 'cases'."),
    (RULE, "gives: unknown", "gives: kept", 1, "has no case that gives unknown", "Add one to 'cases'."),
    (RULE, "gives: not asked", "gives: kept", 1, "has 'given' but no case that gives 'not asked'", "Add one."),
    (RULE, "past: 1 mm", "past: far", 11, "'past': 'far' is not a number", ""),
    (RULE, "past: 1 mm", "past: 1 furlong", 11, "unknown unit 'furlong'", ""),
    (RULE, "feeder.sheave_gap: 5 mm", "feeder.sheave_gap: {left: 5 mm}", 11, "is not taken left and right", ""),
    (RULE, "cure:", "standing: maybe\ncure:", 8, "'standing' is 'maybe'", "trial, in force"),
    (RULE, "cure:", "was: [gap-too-wide]\ncure:", 1, "'was' names 'gap-too-wide', which is a rule", "Ids are never reused."),
    # machine cards
    (CARD, "card: mini", "card: maxi", 1, "'card' must be the file's name, 'mini'", ""),
    (CARD, "manual: its manual\n", "", 1, "lacks 'manual'", "Add 'manual:'."),
    (CARD, "title: Small", "titel: Small", 2, "has no key 'titel'", "Did you mean 'title'?"),
    (CARD, "feeder.drum: {move", "feeder.drm: {move", 15, "no setting is called 'feeder.drm'", "Did you mean 'feeder.drum'?"),
    (CARD, "feeder.safety_stop: {}", "feeder.drum: {}", 18, "'feeder.drum' is a setting", ""),
    (CARD, "{unit: in}", "{unit: inn}", 17, "unknown unit 'inn'", ""),
    (CARD, "{unit: in}", "{unit: kg}", 17, "'kg' is a unit of mass", ""),
    (CARD, "feeder.safety_stop: {}", "feeder.safety_stop: {unit: mm}", 18, "is a yes_no and has no unit", ""),
    (CARD, "procedure: move-drum", "procedure: mov-drum", 15, "no procedure is called 'mov-drum'", "Did you mean"),
    (CARD, "people: 2", "people: 0", 15, "'people' is 0; it must be at least 1", ""),
    (CARD, "{move:", "{words: [up], move:", 15, "'feeder.drum' can't be 'up'", "It is one of: raised, lowered."),
    (CARD, "kind: v_belt", "kind: vbelt", 24, "'kind' is 'vbelt'", "Did you mean 'v_belt'?"),
    (CARD, "station: front, from", "station: back, from", 24, "'station' is 'back'", ""),
    (CARD, "centre: 700 mm, ", "", 24, "'fan_drive' lacks 'centre'", "Add 'centre:'."),
    (CARD, "centre: 700 mm", "centre: 700", 25, "'centre': 700 has no unit", ""),
    (CARD, "section: B", "section: 3", 25, "'section' is 3; it must be one of: a word", ""),
    (CARD, "slip: 1 %", "slip: 1 %, teeth: 3", 25, "has no key 'teeth'", ""),
    (CARD, ", slot: 320 mm", "", 24, "'fan_drive.driven_diameter' has no value for build.feeder.tensioner 'slot'", ""),
    (CARD, "slot: 320 mm", "slot: 320 mm, rope: 1 mm", 24, "build.feeder.tensioner can't be 'rope'", ""),
    (CARD, "by: build.feeder.tensioner", "by: build.feeder.tension", 24,
     "depends on 'build.feeder.tension', which this card does not have", "Did you mean 'build.feeder.tensioner'?"),
    (CARD, "{is: spring, serial_from: A-100}", "{is: springs, serial_from: A-100}", 11, "'is' is 'springs'", "Did you mean"),
    (CARD, "{is: spring, serial_from: A-100}", "{is: spring, year_from: x}", 11, "'year_from' must be a number", ""),
    (CARD, "  every:", "  wheat:", 28, "no crop card is called 'wheat'", "Use a crop card's id, or every."),
    (CARD, "low: 3/32 in", "low: 7/32 in", 28, "has low '7/32 in' above high '5/32 in'", ""),
    (CARD, "low: 3/32 in, high: 5/32 in, ", "", 28, "says neither 'is' nor 'low' nor 'high'", ""),
    (CARD, "low: 3/32 in", "is: wide", 28, "'is' must be a word; feeder.sheave_gap is a number", "Use low and high for numbers."),
    (CARD, "{is: raised, basis", "{low: 3 mm, basis", 30, "feeder.drum is a word and has no 'low'", "Use is: for words."),
    (CARD, "{is: raised, basis", "{is: rised, basis", 30, "feeder.drum can't be 'rised'", "Did you mean 'raised'?"),
    # crop cards
    (CROP, "crop: corn", "crop: korn", 1, "'crop' must be the file's name, 'corn'", ""),
    (CROP, "row_crop: true", "row_crop: yes", 5, "'row_crop' must be true or false, not 'yes'", ""),
    (CROP, "grain_class: coarse grain", "grain_class: grain", 6, "'grain_class' is 'grain'", ""),
    (CROP, "feeder.drum: {is", "feeder.drumm: {is", 8, "no quantity is called 'feeder.drumm'", "Did you mean 'feeder.drum'?"),
    (CROP, "56 lb/bu", "56 lb", 10, "'lb' is a unit of mass, a bushel weight is wanted", ""),
    (CROP, ", basis: {ground: common practice}", "", 8, "lacks 'basis'", "Add 'basis:'."),
    # procedures
    (WORK, "title: Move the drum\n", "", 1, "procedure 'move-drum' lacks 'title'", ""),
    (WORK, "{do: Move it., trap", "{trap", 3, "a step lacks 'do'", "Add 'do:'."),
    (WORK, "minutes: 25", "minutes: -1", 4, "'minutes' is -1; it must be at least 0", ""),
    (WORK, "minutes: 25", "minutes: soon", 4, "'minutes' must be a number, not 'soon'", ""),
    (WORK, "moves: [feeder.drum]", "moves: [feeder.dum]", 1, "no quantity is called 'feeder.dum'", "Did you mean"),
    (WORK, "brings: [belt.condition]", "brings: [belt.colour]", 1, "no quantity is called 'belt.colour'", ""),
    (WORK, "safe: [engine-off]", "safe: [engine-of]", 1, "no caution is called 'engine-of'", "Did you mean 'engine-off'?"),
    (WORK, "safe: [engine-off]", "before: [make-tea]", 1, "names 'make-tea', which does not exist", ""),
    # what everything stands on
    ("sources.yaml", "status: read", "status: heard", 1, "'status' is 'heard'", ""),
    ("sources.yaml", "title: A handbook, ", "", 1, "source 'handbook' lacks 'title'", ""),
    ("cautions.yaml", "say: Stop the engine., ", "", 1, "caution 'engine-off' lacks 'say'", ""),
    ("retired.yaml", "[old-rule]", "old-rule", 1, "must be a list of rule ids", ""),
    ("retired.yaml", "[old-rule]", "[gap-too-wide]", 1, "id 'gap-too-wide' is retired", "Give the rule another name."),
    (WORDS, "unit: km/h, lowest: 0, highest: 25", "unit: kmh, lowest: 0, highest: 25", 4, "unknown unit 'kmh'", ""),
    (WORDS, ", lowest: 0, highest: 25", ", lowest: 0", 4, "needs 'lowest' and 'highest'", "Outside them a value is impossible."),
    (WORDS, "words: {raised: up, lowered: down}", "words: [raised, lowered]", 17, "'words' must map each word to its meaning", ""),
    (WORDS, "meaning: Drum, sided", "sided", 17, "quantity 'feeder.drum' lacks 'meaning'", ""),
    (WORDS, "  belt: {readings", "  bellt: {readings", 34, "no kind or family is called 'bellt'", "Did you mean 'belt'?"),
    (WORDS, "  feeder.chain_checked:", "  chain_checked:", 31, "'chain_checked' must be named part.attribute", ""),
    (WORDS, "  feeder.chain_checked:", "  feeder.drum:", 31, "'feeder.drum' is named twice", "Keep one."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "old", "new", "line", "said", "advice"),
    [pytest.param(*row, id=f"{Path(row[0]).stem}: {row[4]}"[:70]) for row in MISTAKES],
)
def test_a_mistake_is_named_with_file_line_and_advice(
    changed: Change, file: str, old: str, new: str, line: int, said: str, advice: str
) -> None:
    root = changed(file, old, new)
    found = [problem for problem in problems(root) if said in problem]
    assert found, problems(root)
    # retiring a rule that exists is a mistake of the rule's
    where = RULE if said.startswith("id 'gap-too-wide'") else file
    assert found[0].startswith(f"{root.name}/{where}:{line}:")
    assert advice in found[0]


def test_all_problems_of_all_files_are_told_at_once(site: Build, small: Files) -> None:
    bad = {
        RULE: str(small[RULE]).replace("critical", "critcal").replace("at_most: 4 mm", "at_most: 4 kg"),
        CARD: str(small[CARD]).replace("kind: v_belt", "kind: vbelt"),
        CROP: str(small[CROP]).replace("row_crop: true", "row_crop: 3"),
        WORK: str(small[WORK]).replace("people: 2", "people: two"),
        "procedures/other.yaml": "title: [\n",
    }
    found = problems(site({**small, **bad}))
    for file in bad:
        assert any(file in problem for problem in found), file
    assert sum(RULE in problem for problem in found) == 2


@pytest.mark.parametrize("file", ["sources.yaml", "quantities.yaml", "cautions.yaml", "retired.yaml"])
def test_a_file_that_everything_stands_on_is_missing(site: Build, small: Files, file: str) -> None:
    del small[file]
    assert problems(site(small)) == [f"{file}: is missing. A rulebook needs it."]


def test_a_folder_that_is_none(site: Build, small: Files, tmp_path: Path) -> None:
    assert any("is not a folder" in problem for problem in problems(site(small), tmp_path / "none"))


@pytest.mark.parametrize(
    ("name", "advice"),
    [("rule/x.yaml", "Known:"), ("pack/feeder/x.yaml", "Did you mean 'packs/'?"), ("x.yaml", "Known:")],
)
def test_a_file_that_is_no_part_of_a_rulebook(site: Build, small: Files, name: str, advice: str) -> None:
    (found,) = problems(site({**small, name: "a: 1\n"}))
    assert f"{name}: is not part of a rulebook" in found
    assert advice in found


def test_a_rule_of_one_name_in_two_packs(site: Build, small: Files) -> None:
    found = problems(site({**small, "packs/header/gap-too-wide.yaml": small[RULE]}))
    assert len(found) == 1
    assert "'gap-too-wide' stands twice in this rulebook" in found[0]
    assert "packs/feeder/gap-too-wide.yaml" in found[0]


def test_a_name_of_two_crops(site: Build, small: Files) -> None:
    """Also in another language, and with the accent written as a character of its own."""
    corn = str(small["crops/corn.yaml"]).replace("also: [maize]", "names: {fr: [maïs]}")
    other = corn.replace("crop: corn", "crop: rice").replace("name: corn", "name: rice").replace("ZEAMX", "ORYSA")
    twice = {
        **small,
        "crops/corn.yaml": corn,
        "crops/rice.yaml": other.replace("maïs", "mai\u0308s").replace("fr:", "de:"),
    }
    (found,) = problems(site(twice))
    assert "crops/rice.yaml" in found
    assert "is what corn is called, too" in found


def test_bytes_that_are_not_utf8(site: Build, small: Files) -> None:
    found = problems(site({**small, RULE: b"title: caf\xe9\n"}))
    assert any("is not UTF-8 (byte 10)" in problem for problem in found)


# ------------------------------------------------------------------------------------------------------------ site folders


def test_a_site_adds(site: Build, small: Files) -> None:
    root = site(small)
    more = site({
        "packs/barn/another.yaml": small[RULE],
        "crops/wheat.yaml": str(small[CROP]).replace("corn", "wheat").replace("ZEAMX", "TRZAX").replace("maize", "spelt"),
        "sources.yaml": "farm-book: {title: The farm's own book}\n",
        "cautions.yaml": "gloves: {say: Wear gloves., basis: {ground: common practice}}\n",
        "retired.yaml": "[older-rule]\n",
        "quantities.yaml": "readings:\n  feeder.paint: {meaning: Paint, yes_no: true}\n",
    })  # fmt: skip
    plain, both = read_rulebook(root), read_rulebook(root, [more])
    assert set(both.rules) == {"gap-too-wide", "another"}
    assert both.rules["another"].origin == str(more)
    assert not both.rules["another"].overrides
    assert both.rules["gap-too-wide"].origin == ""
    assert set(both.crops) == {"corn", "wheat"}
    assert {"handbook", "farm-book"} == set(both.sources)
    assert both.cautions["gloves"] == "Wear gloves."
    assert "feeder.paint" in both.vocabulary.fixed
    assert both.digest != plain.digest


@pytest.mark.parametrize("kind", ["rule", "machine", "crop"])
def test_a_site_overrides_whole_and_it_shows(site: Build, small: Files, kind: str) -> None:
    file = {"rule": RULE, "machine": CARD, "crop": CROP}[kind]
    old, new = {
        "rule": ("title: Drum set for another crop", "title: Ours"),
        "machine": ("title: Small machine", "title: Ours"),
        "crop": ("name: corn", "name: ours"),
    }[kind]
    mine = site({file: str(small[file]).replace(old, new)})
    book = read_rulebook(site(small), [mine])
    held: Mapping[str, Any] = {"rule": book.rules, "machine": book.machines, "crop": book.crops}[kind]
    found = held[Path(file).stem]
    assert (found.overrides, found.origin) == (True, str(mine))
    assert (found.name if kind == "crop" else found.title) in ("Ours", "ours")
    assert mine.name in found.place.source


def test_a_site_may_keep_a_rule_in_another_pack(site: Build, small: Files) -> None:
    book = read_rulebook(site(small), [site({"packs/ours/gap-too-wide.yaml": small[RULE]})])
    assert (book.rules["gap-too-wide"].pack, book.rules["gap-too-wide"].overrides) == ("ours", True)


def test_later_sites_go_over_earlier_ones(site: Build, small: Files) -> None:
    first = site({CROP: str(small[CROP]).replace("name: corn", "name: first")})
    second = site({CROP: str(small[CROP]).replace("name: corn", "name: second")})
    assert read_rulebook(site(small), [first, second]).crops["corn"].name == "second"
    assert read_rulebook(site(small), [second, first]).crops["corn"].name == "first"


def test_a_procedure_is_replaced_too(site: Build, small: Files) -> None:
    mine = site({WORK: str(small[WORK]).replace("minutes: 25", "minutes: 99")})
    found = read_rulebook(site(small), [mine]).procedures["move-drum"]
    assert (found.minutes, found.origin) == (99, str(mine))


def test_a_site_may_not_change_what_everything_stands_on(site: Build, small: Files) -> None:
    mine = site({"sources.yaml": "handbook: {title: Another}\n"})
    (found,) = problems(site(small), mine)
    assert "is already in the rulebook" in found
    assert "use another name" in found


def test_a_mistake_in_a_site_is_named_there(site: Build, small: Files) -> None:
    mine = site({RULE: str(small[RULE]).replace("critical", "critcal")})
    (found,) = problems(site(small), mine)
    assert found.startswith(f"{mine.name}/{RULE}:3:")


def test_a_site_retires_nothing_that_is_in_use(site: Build, small: Files) -> None:
    (found,) = problems(site(small), site({"retired.yaml": "[gap-too-wide]\n"}))
    assert "id 'gap-too-wide' is retired" in found


def test_a_card_that_stands_elsewhere(site: Build, small: Files, tmp_path: Path) -> None:
    card = tmp_path / "draft.yaml"
    card.write_text(str(small[CARD]).replace("card: mini", "card: draft"))
    book = read_rulebook(site(small), cards=[card])
    assert set(book.machines) == {"mini", "draft"}
    assert book.machines["draft"].origin == str(card)
    card.write_text("card: draft\n")
    with pytest.raises(BadInput, match="lacks 'title'"):
        read_rulebook(site(small), cards=[card])


def test_the_digest_is_of_every_name_and_text(site: Build, small: Files) -> None:
    first, again = site(small), site(small)
    again = again.rename(again.parent / "again")
    (again.parent / "moved").mkdir()
    same = again.rename(again.parent / "moved" / first.name)
    assert read_rulebook(first).digest == read_rulebook(same).digest
    (same / RULE).write_text(str(small[RULE]) + "\n")
    assert read_rulebook(first).digest != read_rulebook(same).digest


def test_what_is_not_stated_has_its_default(site: Build, small: Files) -> None:
    book = read_rulebook(site(small))
    rule = book.rules["gap-too-wide"]
    assert (rule.standing.value, rule.each, rule.was, rule.harm.people) == ("in force", "", (), False)
    assert rule.basis.ground is Ground.PUBLISHED
    assert book.sources["handbook"].edition == ""


def test_the_small_rulebook_audits(site: Build, small: Files) -> None:
    line = b"""{"unit": {"id": "u", "card": "mini"}, "job": {"crop": "maize", "condition": "heavy"},
               "readings": {"feeder.sheave_gap": "1/4 in"}}"""
    auditor = Auditor(read_rulebook(site(small)))
    (finding,) = auditor.report(line, "line").findings
    assert (finding.rule, finding.verdict.value) == ("gap-too-wide", "broken")
    assert finding.comparisons[0].past == pytest.approx(2.35)
    assert auditor.judge(line.replace(b"\n", b""), "line").findings() == (finding,)
