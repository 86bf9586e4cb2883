"""A form about something that somebody else changed while it was filled in: what is theirs, what is yours, who decides.

Such a form carries, beside the edition it was filled in from, what stood in each field then (``was.<field>``). So three
things are known of a field: what it was, what it is now, and what is wanted. Where only one of the two changed it, that
is proposed; where both did and differ, nothing is, and a person must say. What they decide is sent as the same form.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request, Response

from api.identity.caller import Caller
from api.pages.asking import number
from api.pages.door import see
from api.pages.view import View, page
from api.routes.desk import desk_of
from api.store import events

WAS = "was."
"""What the name of a field begins with that holds what stood in another when the form was opened."""


@dataclass(frozen=True, slots=True)
class Field:
    """A field of a form.

    Attributes:
        name: in the form.   label: in the reader's language.
        now: what it would hold if the form were opened now.
        words: how a value reads, by value, where it does not stand for itself.
        measure: it is a number, so that 7 and 7,0 are the same.
    """

    name: str
    label: str
    now: str
    words: Mapping[str, str] = field(default_factory=dict)
    measure: bool = False

    def same(self, one: str, other: str) -> bool:
        """Whether two values say the same."""
        one, other = one.strip(), other.strip()
        return one == other or (self.measure and bool(one and other) and number(one) == number(other))

    def shown(self, value: str, view: View) -> str:
        """How a value reads."""
        found = self.words.get(value.strip(), value.strip())
        if self.measure and isinstance(read := number(found), float):
            return view.number(read)
        return found or view.language.say("empty")


def changed_meanwhile(
    request: Request,
    caller: Caller,
    view: View,
    sent: Mapping[str, Any],
    fields: Sequence[Field],
    *,
    subject: str,
    title: str,
    edition: str,
    done: str,
) -> Response:
    """The page (412) on which a person decides field by field; sent on where what was wanted is there already.

    Args:
        sent: the form as it came.
        subject: of the record's events about the thing, which say who changed it.   title: what the thing is called.
        edition: that it has now.   done: where a browser goes when there is nothing to decide.
    """
    open_, settled = [], {}
    for one in fields:
        yours = str(sent.get(one.name, one.now))
        if one.same(yours, one.now):
            settled[one.name] = one.now
            continue
        before = sent.get(f"{WAS}{one.name}")
        proposed = ""
        if before is not None and one.same(str(before), yours):
            proposed = "theirs"
        elif before is not None and one.same(str(before), one.now):
            proposed = "yours"
        line = {"name": one.name, "label": one.label, "theirs": one.now, "yours": yours, "proposed": proposed}
        values = {"theirs": one.now, "yours": yours} | ({} if before is None else {"was": str(before)})
        open_.append({**line, "shown": {key: one.shown(value, view) for key, value in values.items()}})
    if not open_:
        return see(done)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        last = events.newest(work, subject)
    return page(
        request, "changed.html", 412, title=title, fields=open_, settled=settled, edition=edition, done=done, last=last,
        now={one.name: one.now for one in fields},
    )  # fmt: skip
