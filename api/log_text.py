"""A day's log of one unit as text: which rules were out of window, when, for how long, over what area."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.fleet_text import FleetPage, counted, named
from api.text import MARKS

Plain = dict[str, Any]


class LogPage(FleetPage):
    """Lays a log's answer out; what it takes is what the JSON answer holds."""

    def log(self, log: Plain) -> Iterator[str]:
        """Which rules one unit broke through a day, when, for how long, over what area."""
        yield self.strong(f"{log['unit']}  {log['card']}: {log['rows']} rows, {_span(log['start'], log['end'])}")
        silent = sum(gap["seconds"] for gap in log["gaps"])
        area = f"{log['hectares']:.1f} ha cut" if log["hectares"] else "no area known"
        without = f"; for {_time(log['seconds_no_area'])} speed or width is not known" if log["seconds_no_area"] else ""
        yield from self.wrapped(
            f"{_time(log['covered_s'])} covered, {area} (ground speed times working width times time{without}). "
            f"{counted(len(log['gaps']), 'gap')} longer than {_time(log['gap_limit_s'])}, {_time(silent)} in all: "
            f"counted neither in nor out. Times in window shorter than {_time(log['debounce_s'])} do not end a spell. "
            f"Judged by rulebook {log['rulebook']['digest'][:12]}."
        )
        for gap in log["gaps"][: self.most]:
            yield f"  gap {_span(gap['start'], gap['end'])}, {_time(gap['seconds'])}"
        yield from self.more(len(log["gaps"]))
        for label, count in (("rows with the time of another, which stands instead", log["same_time"]),
                             ("rows out of order, put in order", log["unordered"])):  # fmt: skip
            if count:
                yield f"  {count} {label}"
        if not log["out"]:
            yield "Nothing was out of window."
        for number, one in enumerate(log["out"], 1):
            yield ""
            yield from self.out(number, one)
        if log["never_answered"]:
            yield ""
            yield self.strong("Never broken, but not always known")
            for one in log["never_answered"][: self.most]:
                yield from self.wrapped(f"{named(one)}: not known for {_time(one['seconds'])}", "  ", "      ")
            yield from self.more(len(log["never_answered"]))
        yield ""
        yield from self.safety()

    def out(self, number: int, one: Plain) -> Iterator[str]:
        """One rule through the day."""
        people = " DANGER TO PEOPLE" if one["danger_to_people"] else ""
        level = self.paint(f"{MARKS[one['level']]} {one['level'].upper()}", one["level"])
        yield f"{number}. {level}  {self.strong(named(one))}{people}"
        unknown = f"; not known for {_time(one['seconds_unknown'])}" if one["seconds_unknown"] else ""
        no_area = f" and an unknown area in {_time(one['seconds_no_area'])}" if one["seconds_no_area"] else ""
        yield from self.wrapped(
            f"out of window for {_time(one['seconds'])}, over {one['hectares']:.1f} ha{no_area}{unknown}; "
            f"{one['downtime_h']:g} h standing if it happens, times the time: {one['damage_time']:.1f}",
            "   ",
            "   ",
        )
        for spell in one["spells"][: self.most]:
            flickers = f", {counted(spell['flickers'], 'flicker')} into window" if spell["flickers"] else ""
            how = ", end not in the log" if spell["open"] else ""
            yield f"   {_span(spell['start'], spell['end'])}, {_time(spell['seconds'])}{flickers}{how}"
        yield from self.more(len(one["spells"]))
        if one["short"]:
            yield f"   {counted(one['short'], 'spell')} too short to be told"


def _time(seconds: float) -> str:
    if seconds < 60:
        return f"{seconds:g} s"
    return f"{seconds / 60:.4g} min" if seconds < 3600 else f"{seconds / 3600:.1f} h"


def _span(start: str, end: str) -> str:
    """From and until; the day stands once if it is the same."""
    day, until = start[:10], end[11:16] if start[:10] == end[:10] else f"{end[:10]} {end[11:16]}"
    return f"{day} {start[11:16]} to {until} UTC"
