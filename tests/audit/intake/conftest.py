"""A rulebook small enough to be read a hundred times: one machine, one crop, one procedure, one rule."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

QUANTITIES = """\
job:
  job.crop: {meaning: Crop, words: [], open: true}
  job.condition: {meaning: State of the crop, words: {normal: usual, heavy: heavy straw}}
  job.ground_speed: {meaning: Ground speed, unit: km/h, lowest: 0, highest: 25}
  job.header_kind: {meaning: Header, words: {corn-head: row header, draper: belts}}
  job.header_width: {meaning: Width, unit: m, lowest: 1, highest: 20}
  job.header_rows: {meaning: Rows, unit: '1', lowest: 1, highest: 30}
  job.row_spacing: {meaning: Row spacing, unit: mm, lowest: 150, highest: 1500}
  job.header_drive_speed: {meaning: Input speed, unit: r/min, lowest: 100, highest: 1500}
  job.grain_yield: {meaning: Yield, unit: kg/ha, lowest: 50, highest: 25000}
  job.hectares: {meaning: Area, unit: ha, lowest: 0, highest: 100000}
  job.seeds_per_kg: {meaning: Seeds, unit: 1/kg, lowest: 500, highest: 2000000}
unit:
  unit.engine_hours: {meaning: Engine hours, unit: h, lowest: 0, highest: 60000}
  unit.build_year: {meaning: Year of build, unit: '1', lowest: 1950, highest: 2100}
settings:
  feeder.drum: {meaning: Drum, sided: true, words: {raised: up, lowered: down}}
  header.reel_speed: {meaning: Reel speed, unit: km/h, lowest: 0, highest: 30}
readings:
  feeder.sheave_gap: {meaning: Sheave gap, unit: mm, lowest: 0, highest: 50, how: Feeler gauge.}
  feeder.safety_stop: {meaning: Safety stop engages, yes_no: true, how: Look.}
  loss.standing: {meaning: Seeds, unit: 1/m2, lowest: 0, highest: 100000}
  loss.header: {meaning: Seeds, unit: 1/m2, lowest: 0, highest: 100000}
  loss.behind: {meaning: Seeds, unit: 1/m2, lowest: 0, highest: 100000}
  loss.in_strip: {meaning: Seeds, unit: 1/m2, lowest: 0, highest: 100000}
  loss.discharge_width: {meaning: Width, unit: m, lowest: 0.3, highest: 20}
  loss.unthreshed_behind: {meaning: Share, unit: '%', lowest: 0, highest: 100}
  field.efficiency: {meaning: Efficiency, unit: '%', lowest: 1, highest: 100}
events:
  feeder.drum_moved: {meaning: The drum was moved}
  feeder.chain_checked: {meaning: The chain was checked}
kinds:
  shaft: {readings: {measured_speed: {meaning: Measured speed, unit: r/min, lowest: 0, highest: 6000}}}
  belt: {readings: {condition: {meaning: State of the belt, words: {sound: whole, cracked: cracks}}}}
"""
MACHINE = """\
card: mini
title: Small machine
basis: {ground: machine card}
manual: its manual
governed_shaft: engine
builds:
  feeder.tensioner:
    meaning: Tensioner
    choices: {spring: spring, slot: slot}
    breaks:
      - {is: spring, serial_from: A-100}
stations:
  - {id: front, title: Front, parts: [feeder]}
settings:
  feeder.drum: {move: {procedure: move-drum, minutes: 25, people: 2, tools: [spanner]}}
readings:
  feeder.sheave_gap: {unit: in}
  feeder.safety_stop: {}
shafts:
  engine: {kind: shaft, title: Engine, station: front, governed_speed: 2100 r/min}
  fan: {kind: shaft, title: Fan, station: front}
drives:
  fan_drive:
    {kind: v_belt, title: Fan drive, station: front, from: engine, to: fan, driver_diameter: 200 mm,
     driven_diameter: {by: build.feeder.tensioner, spring: 300 mm, slot: 320 mm}, centre: 700 mm, section: B, slip: 1 %}
targets:
  every:
    feeder.sheave_gap: {low: 3/32 in, high: 5/32 in, basis: {ground: common practice}}
  corn:
    feeder.drum: {is: raised, basis: {ground: machine card}}
"""
CROP = """\
crop: corn
name: corn
eppo: ZEAMX
also: [maize]
row_crop: true
grain_class: coarse grain
targets:
  feeder.drum: {is: raised, basis: {ground: common practice}}
measures:
  test_weight: {value: 56 lb/bu, basis: {ground: published, source: handbook}}
"""
PROCEDURE = """\
title: Move the drum
steps:
  - {do: Move it., trap: Not on one side alone.}
minutes: 25
people: 2
moves: [feeder.drum]
brings: [belt.condition]
safe: [engine-off]
basis: {ground: common practice}
"""
RULE = """\
title: Drum set for another crop
why: The drum must suit the crop.
harm: {to: chain, how: it breaks, severity: critical, probability: remote, downtime: 8 h, rises: [{past: 10 %, to: probable}]}
basis: {ground: published, source: handbook, at: p. 3}
given: {job.condition: {is: heavy}}
hold:
  feeder.sheave_gap: {at_most: 4 mm}
cure: [move-drum]
cases:
  - {name: on the limit, at: {job.condition: heavy, feeder.sheave_gap: 4 mm}, gives: kept}
  - {name: past it, at: {job.condition: heavy, feeder.sheave_gap: 5 mm}, gives: broken, past: 1 mm}
  - {name: not taken, at: {job.condition: heavy}, gives: unknown}
  - {name: light crop, at: {job.condition: normal}, gives: not asked}
"""
SMALL: dict[str, str | bytes] = {
    "quantities.yaml": QUANTITIES,
    "sources.yaml": "handbook: {title: A handbook, by: Someone, year: 1990, status: read}\n",
    "cautions.yaml": "engine-off: {say: Stop the engine., basis: {ground: common practice}}\n",
    "retired.yaml": "[old-rule]\n",
    "machines/mini.yaml": MACHINE,
    "crops/corn.yaml": CROP,
    "procedures/move-drum.yaml": PROCEDURE,
    "packs/feeder/gap-too-wide.yaml": RULE,
}


@pytest.fixture
def small() -> dict[str, str | bytes]:
    """Files of the small rulebook, to be changed."""
    return dict(SMALL)


@pytest.fixture
def changed(
    site: Callable[[Mapping[str, str | bytes]], Path],
) -> Callable[[str, str, str], Path]:
    """The small rulebook on disk with one text of one file replaced."""

    def build(file: str, old: str, new: str) -> Path:
        text = SMALL[file]
        assert isinstance(text, str)
        assert text.count(old) >= 1, f"{old!r} is not in {file}"
        return site({**SMALL, file: text.replace(old, new, 1)})

    return build
