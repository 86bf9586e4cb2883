"""A sheet for whoever wants it: as HTML, PDF, workbook or CSV, all from the same content."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

from markupsafe import Markup

from api.drawings.marks import glyph
from api.drawings.svg import element
from api.pages.assets import FOLDER
from api.pages.sheets.press import pressed
from api.pages.sheets.tables import Table, csv_bytes
from api.pages.sheets.workbook import workbook
from api.pages.view import View, rendered
from audit.nouns.risk import Level

MEDIA = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
}
"""What a sheet is there as, by the ending of its name."""
PAPERS = ("a4", "letter")
"""A4 (ISO 216, 210 mm by 297 mm) and US Letter (ANSI/ASME Y14.1 size A, 8.5 in by 11 in)."""
_SHORT = 12


@dataclass(frozen=True, slots=True)
class Printing:
    """For whom a sheet is printed, and when.

    Attributes:
        at: s since 1970.   by: who prints it, '' for not known.
        address: where people reach the server, for codes and links; '' where there is none.
        paper: one of PAPERS.
    """

    view: View
    at: float
    by: str = ""
    address: str = ""
    paper: str = PAPERS[0]

    @property
    def created(self) -> str:
        """The time of printing as RFC 3339."""
        return datetime.fromtimestamp(self.at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

    def hours(self, minutes: float) -> str:
        """A stretch of work as people say it."""
        say, whole = self.view.language.say, round(minutes)
        if whole < 60:
            return say("{minutes} min", minutes=whole)
        hours, rest = self.view.number(whole // 60, 0), whole % 60
        return say("{hours} h {minutes} min", hours=hours, minutes=rest) if rest else say("{hours} h", hours=hours)


@dataclass(frozen=True, slots=True)
class Printout:
    """What is to be printed.

    Attributes:
        name: of its file, without ending.   kind: what sort of sheet it is, in words.   title: what it is about.
        about: what stands at its head: words and what they say.   digest: of the rulebook.
        template: lays it out.   content: what the template sees besides; texts are in the reader's language.
        tables: for workbook and CSV; CSV is the first.
    """

    name: str
    kind: str
    title: str
    about: tuple[tuple[str, str], ...]
    digest: str
    template: str
    content: Mapping[str, Any]
    tables: tuple[Table, ...]


def printed(printout: Printout, printing: Printing, ending: str, linked: Mapping[str, str] | None = None) -> bytes:
    """A sheet in one of the forms of MEDIA.

    Args:
        linked: for a page of the server: addresses of the other forms and papers by their words; it then names the
            style sheets. None for a file that carries all it needs.
    Raises: LacksLayout or Busy for PDF.
    """
    if ending == "csv":
        return csv_bytes(printout.tables[0])
    if ending == "xlsx":
        say = printing.view.language.say
        about = (*printout.about, *_stamp(printout, printing), (say("Rulebook, whole digest"), printout.digest))
        return workbook(printout.tables, f"{printout.kind}: {printout.title}", about, say("About"), printing.at)
    html = rendered(
        printing.view, printout.template, sheet=printout, printing=printing, linked=linked,
        stamp=_stamp(printout, printing), css="" if linked else style(printing.paper), glyph=glyph_of,
        **printout.content,
    )  # fmt: skip
    return pressed(html) if ending == "pdf" else html.encode("utf-8", "replace")


def style(paper: str) -> Markup:
    """The style sheets that a file carries; they are our own, so that nothing in them needs escaping."""
    return Markup("".join((FOLDER / name).read_text(encoding="utf-8") for name in ("sheet.css", f"paper-{paper}.css")))


@cache
def glyph_of(level: str) -> Markup:
    """The shape of a level, for paper."""
    return Markup(
        element(
            "svg", glyph(Level[level.upper()], (8.0, 8.0), 12), viewBox="0 0 16 16", class_="glyph", aria_hidden="true",
            xmlns="http://www.w3.org/2000/svg",
        )
    )  # fmt: skip


def _stamp(printout: Printout, printing: Printing) -> tuple[tuple[str, str], ...]:
    """By which rules it was judged, and when and by whom it was printed."""
    say = printing.view.language.say
    found = [(say("Rulebook"), printout.digest[:_SHORT]), (say("Printed"), printing.view.moment(printing.at))]
    return (*found, *(((say("Printed by"), printing.by),) if printing.by else ()))
