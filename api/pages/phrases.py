"""What the audit composes around values and names, as phrases that a catalogue can hold.

A composed text is recognised by the phrase that it was made by, its parts are told one by one, and the phrase of the
reader's language puts them together again. A test tells every report, plan, rule and card of the shipped rulebook in
every language and finds what no phrase knows.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import cache

from api.exchange.reading.nouns import Scheme
from api.pages.door_refusals import REASONS_OF_DOORS, REFUSED_BY_DOORS
from api.pages.languages import Language
from api.pages.refusals import REASONS, REFUSED
from api.pages.rule_refusals import REASONS_OF_RULES, REFUSED_OF_RULES
from api.store.event_kinds import EVERY as KINDS

SURE = (
    "The setup is {days} days old; at most {most} are allowed.",
    "The engine has run {hours} h since the setup; at most {most} are allowed.",
    "The newest setup is for {was}, not for {wanted}; the machine was set for that since.",
    "{title} ({on}): not known, and it could be {level}.",
    "{title}: not known, and it could be {level}.",
    "machine card {card} does not state {name}",
    "machine card {card} has no {name}",
    "crop card {crop} does not state {name}",
    "neither machine card {card} nor crop card {crop} has a target for {name}",
    "{name} can't be computed: {reason}",
    "{name} ({side}) is not known",
    "{name} is not known",
    "{what} stays as it is",
    "{what} may be changed after all",
    "no {what} on hand",
    "{what} is on hand",
    "at most {number} people",
    "at most {number} person",
    "at most {number} minutes",
    "{time} run since the work",
    "{time} still to run",
    "reach {low}–{high}",
    "{speed} measured",
    "{number} to find out, at worst {level}",
    "Not known, at worst {level}: {title}",
    "Drive train, {title}",
    "Schematic side view, front to the left, with {threshing}.",
    "every {family} of the machine",
    "{level}: severity {severity}, probability {probability}; about {hours} h standing",
    "{level}: severity {severity}, probability {probability}; {rises}; about {hours} h standing",
    "{level} from {share} past the limit",
    "There is no unit {unit}.",
    "There is no visit {visit}.",
    "{visit} was cancelled; put another one.",
    "No visits were planned: {reason}.",
    "there is no fleet audit {audit}",
    "it begins on {day}, which is over; begin it today or later",
    "the fleet audit is not done",
    "the fleet audit planned no work; begin one that also plans the work for every unit",
    "the fleet has {setups} setups; {most} are the most that are read here",
    "{units} units on these farms need work; name fewer farms, for {most} at the most",
    "the files of the fleet audit are not on this server",
    "this server can't plan visits: OR-Tools is not installed (the extra 'schedule')",
    "its work was not planned",
    "there is no plan that puts it right; 'setup-audit plan' says why",
    "its farm is not in the visits file",
    "nobody says on which farm it is",
    "nobody is trained on machine card {card}",
    "nobody who is trained on it has a day before the harvest on {day}",
    "its work takes {number} technicians at once; more than two are not planned",
    "it takes two technicians, no two have the same day before the harvest, and the farm has no helper",
    "the way there and back takes the whole day",
    "its work takes {number} days, and there are {days} before the harvest on {day}",
    "no room before the harvest on {day}: it takes {work} and the way; other work takes {taken} of the {most} h there "
    "are and leaves at most {left} min a day",
    "{minutes} min by two technicians together in {number} visits",
    "{minutes} min by two technicians together",
    "{minutes} min in {number} visits",
    "{technician} goes there already on {day}",
    "It is {edition} now; read it again, and decide anew.",
    "Nothing can be sent there: {reason}.",
    "The webhook can't be made: {reason}.",
    "The webhook can't be changed: {reason}.",
    "A webhook is or was called '{called}'. The record names webhooks, so each needs a name of its own.",
    "A token is or was called '{called}'. The record names tokens, so each needs a name of its own.",
    "there are {number} webhooks already; end one that is not needed",
    "{host} stands for no address",
    "{host} leads into a network that is not public ({address}); {setting} may name one's own networks",
    "it answered {number}, and no redirect is followed: change the webhook's address",
    "it answered {number}",
    "it has only failed for {days} days; the last time {reason}",
    "{host} can't be reached: {kind}",
    "{host} took longer than {number} s",
    "No address was made: {reason}.",
    "there is an address for '{called}' already; revoke it, or give another name",
    "its identities are those of different units",
    "it looks like {units}, but neither PIN nor maker, type and serial prove it",
    "it looks like {units}, but its {scheme} is {shown}, and that of {other} is {another}",
    "only its {scheme} says that it is {units}; its {another} is new there",
    "which machine card is it? Nobody has said yet for {type}",
    "it had {hours} engine hours before it had {most}: was the meter replaced between?",
    "it has {hours} engine hours after {most}: was the meter replaced?",
    "added with card {card}",
    "'{called}' is no name of a crop card",
    "event {number} is missing",
    "event {number} comes twice",
    "event {number} does not follow the one before it",
    "event {number} was changed after it was written",
    "event {number} can't be read",
    "event {number} made {subject}, which is not there",
    "the event after number {number} can't be read",
    "the record ends at event {number}, but {count} were written or the last one differs",
    "the record holds no event {number} with hash {hash}",
    "{subject} has {count} events {name}, not one",
    "{subject} has no events {name}, not one",
    "{subject} or event {number} can't be read",
    "{column} of {subject} is not what event {number} says",
    "the {column} of {subject} has not the hash that event {number} says",
    "{column} of {subject} is set, but no event {name} is on record",
    "{column} of {subject} is not set, but an event {name} is on record",
    "Nobody has taken a setup of {unit}: walk round it first.",
    "no rule is called '{name}'. Did you mean '{other}'?",
    "{count}, {level}: {title}",
    "{driver} → {driven} teeth, {position}",
    "{driver} → {driven} teeth",
    "Ø {driver} → {driven}, {position}",
    "{driver} : 1, {position}",
    "position {position}",
    "machine card {card}, {crop}",
    "machine card {card}",
    "crop card {crop}",
    "{place}: there is no column '{column}'. {advice}",
    "{place}: column '{column}' stands twice. Keep the right one.",
    "{place}: '{column}' stands for both sides and has a side of its own too.",
    "{place}: lacks the column '{column}'.",
    "{place}: is not UTF-8. Save the file as UTF-8.",
    "{place}: is no Parquet file that can be read: {reason}",
    "{place}: column '{column}' is of type {kind}; a cell must hold a number, a text, yes/no or a time.",
    "{place}: can't be read: {reason}.",
    "{file}: column {number}",
    "Did you mean '{key}'?",
    "another audit is writing to {folder}; wait for it or name another folder.",
    "{folder} holds the audit of another run ({file}); name another folder.",
    "{folder} holds the audit of another run; name another folder.",
    "the run in {folder} was begun with another {terms}; start anew elsewhere.",
    "{file} can't be gone on with: {reason}; start anew elsewhere.",
    "{file} is not as it was written; start anew elsewhere.",
    "the inputs are not those that the run in {folder} was begun with; start anew elsewhere.",
    "rulebook {digest} is not on record",
    "rulebook {digest}: {reason}",
    "this program can't read rulebook {digest}: {reason} And {number} more.",
    "this program can't read rulebook {digest}: {reason}",
    "The files of the audit can't be read or written: {reason}.",
)
"""Phrases with words enough to be recognised anywhere."""

LOOSE = (
    "shown by any of these, none of those given failing: {parts}",
    "if {given}, then {then}",
    "it is not so that {part}",
    "{first}; {second}",
    "({part})",
    "the same left and right within {tolerance}",
    "{first} and {second}",
    "{first} or {second}",
    "{name} is recorded",
    "{name} is one of {words}",
    "{name} is at least {limit}",
    "{name} is at most {limit}",
    "{name} lies from {low} to {high}",
    "{name} lies in {limit}",
    "{name} is {limit} within {tolerance}",
    "{name} is the same as {other} within {tolerance}",
    "{name} is the same as {other}",
    "{name} was recorded after {event}",
    "{name} is {limit}",
    "is {limit}",
    "{times} times {limit}",
    "the target for {name}",
    "recorded after {event}",
    "at most {limit}",
    "at least {limit}",
    "the same as {other} within {tolerance}",
    "the same as {other}",
    "not {limit}",
    "{low} to {high}",
    "{limit} within {tolerance}",
    "{crop} with {header}",
    "{first}, {second}",
    "{limit} ({written})",
    "was {value}",
    "set {value}",
    "{what}: {how}",
)
"""Phrases of few words, for texts that are known to be composed."""


WORDS = (
    "left", "right", "both sides", "yes", "no", "kept", "broken", "unknown", "not asked", "not known", "as-found",
    "as-left", "as found", "as left", "catastrophic", "critical", "marginal", "negligible", "frequent", "probable",
    "occasional", "remote", "improbable", "published", "memory", "common practice", "trial", "in force", "always",
    "undecided", "cannot decide", "machine card", "mismatched", "the other side", "small grain", "coarse grain",
    "at work", "running", "stopped", "belt", "chain", "sprocket", "elevator", "bearing", "shaft", "drive", "gear",
    "No setup of this unit is on record.", "The unit was taken out of the fleet.",
    "The setup says it was taken later than now; look at the clock.",
    "A setup that was taken earlier was recorded after this one, so it is not certain which of them is the machine's "
    "state; record the setup as it is now.",
    "What the unit is (type, serial number, what is fitted) was changed after this setup; record it anew.",
    "The setup was recorded without engine hours, so its age at work is not known.",
    "The rulebook in force has not judged this setup; record it anew.", "the same left and right", "more people help",
    "more minutes are given", "Add it to the card, from the machine's manual.", "Add it to the card.",
    "State it under unit.fitted; serial and build year can't decide it.", "Lowest speed reachable",
    "Highest speed reachable", "Speed as measured, behind a variable drive", "Value for the position as set",
    "an unknown header", "speed not known", "reach not known", "position not known",
    "large on small", "small on large", "large on large", "small on small", "not stated", "As found",
    "Wanted", "right side", "No findings", "No findings.", "The machine as a whole", "gears", "V-belt",
    "variable belt", "roller chain", "V-belt on steps", "coupled", "other drive", "HIGH", "SERIOUS", "MEDIUM", "LOW",
    "NOT KNOWN", "one axial rotor along the machine", "a cylinder across the machine, then axial rotors",
    "a cylinder across the machine, then straw walkers",
    "Speeds at governed engine speed. On the drives: pitch diameters in mm or teeth, driver → driven.",
    "In the second ink: what the plan changes, as it was and as it will be.", "No such unit", "Not found",
    "Not allowed", "Not taken", "Another machine", "Try again", "Store unavailable", "No setup yet", "Not judged",
    "Out of time", "Not signed on", "Changed meanwhile", "Not signed", "Not lowered", "Name taken", "Token refused",
    "Webhook refused", "Terms refused", "Request refused", "No such rulebook", "No such rule", "No such webhook",
    "No such import", "Unreadable", "Last owner", "Undone already",
    "Another rulebook went in force meanwhile. Compare this one with it, and decide anew.",
    "An event that was noted elsewhere is its number, a colon and its hash of 64 hex digits.",
    "A record is being verified just now. Try again a little later.",
    "The record is of the whole organisation, and this token is kept to some of its units.",
    "An import is about every unit; this token is kept to some.",
    "the organisation's latest time is not that of its last event",
    "the rulebook in force is not the one that the record says",
    "the address can't be read", "the address must begin with https:// and name a host",
    "the address must not carry a user or password", "the address must begin with https://",
    "the address must be plain ASCII, without spaces, backslashes or a fragment",
    "Nobody knows which machine it is", "Ask the sender; the machine was not changed",
    "Put it right where it comes from", "Add the name to 'names' of your crop card; none is guessed", "this machine",
    "its owner disabled it", "its receiver answered 410: gone", *(kind.when for kind in KINDS),
    "The store can't be used just now. Try again a little later.",
    "What this stands on kept changing; nothing was written.", "There is no such organisation.",
    "'setup-audit fleet --columns CARD' lists the columns of a card.",
    "the stored files are not those that were put on record",
    "the stored files are cut off, or larger than any rulebook",
)  # fmt: skip
"""Words and whole sentences of the audit, the gate, the drawings and the doors."""


REFUSALS = tuple(dict.fromkeys((*REFUSED, *REFUSED_OF_RULES, *REFUSED_BY_DOORS)))
"""Phrases of what was refused, for texts that stand alone."""
OF_REFUSALS = tuple(dict.fromkeys((*REASONS, *REASONS_OF_RULES, *REASONS_OF_DOORS)))
"""Words and whole sentences of what was refused."""


def composed(
    text: str, language: Language, tell: Callable[[str], str], figure: Callable[[str], str], loose: bool
) -> str | None:
    """A composed text in a language; None if no phrase made it.

    Args:
        tell: tells a part of it.   figure: tells a part that is a number or a measure.
        loose: every word of the text is the audit's own.
    """

    def told(name: str, part: str) -> str:
        if name in _KEPT:
            return part
        if name == "choices":
            return ", ".join(_choice(one, language) for one in part.split(", "))
        said = tell(part)
        return figure(part) if said == part and name in _FIGURES and not loose else said

    for phrase, own, pattern in _patterns(loose):
        match = pattern.fullmatch(text) if own in text else None
        if match is not None:
            return language.say(phrase, **{name: told(name, part) for name, part in match.groupdict().items()})
    return None


def _choice(word: str, language: Language) -> str:
    """A word that may be written, as it is to be written, with what it is called on pages."""
    said = language.say(word)
    return word if said == word else f"{word} ({said})"


@cache
def _patterns(loose: bool) -> tuple[tuple[str, str, re.Pattern[str]], ...]:
    """Each phrase, the longest of its own words, which most texts lack, and its pattern."""
    phrases = (*SURE, *(LOOSE if loose else sorted(REFUSALS, key=_openness)))
    return tuple(
        (phrase, max(re.split(r"\{\w+\}", phrase), key=len), re.compile(_pattern(phrase), re.DOTALL))
        for phrase in phrases
    )


def _openness(phrase: str) -> int:
    """What a phrase is looked for after: one that begins with a part fits more, the fewer words it has of its own."""
    return -len(re.sub(r"\{\w+\}", "", phrase)) if phrase.startswith("{") else -sys.maxsize


def _pattern(phrase: str) -> str:
    """A regular expression for a phrase; each part is as short as can be."""
    parts = re.split(r"\{(\w+)\}", phrase)
    return "".join(
        rf"(?P<{part}>{_NARROW.get(part, '.+?')})" if at % 2 else re.escape(part) for at, part in enumerate(parts)
    )


_KEPT = frozenset({"key", "called", "quoted", "names", "again", "example", "identity", "unit"})
"""Parts that stay as they were written, as they are to be written again, or as names of things."""
_FIGURES = frozenset({"number", "count", "days", "hours", "most", "low", "high", "was", "left", "taken", "work"})
"""Parts that are numbers or measures of ours, and not what somebody wrote."""
_NUMBERS = r"[\d.,:–-]+"
_NARROW = {
    **dict.fromkeys(("count", "number", "days", "hours", "most", "low_end", "driver", "driven"), _NUMBERS),
    **dict.fromkeys(("name", "card"), r"\S+"),
    "scheme": "|".join(re.escape(one.value) for one in Scheme),
    **dict.fromkeys(("level", "role"), r"\w+"),
    "identity": r"(?!').+?",
    "severity": r"\w+",
    "probability": r"\w+",
}
"""Parts of which more is known than that they are text."""
