"""The languages that pages and sheets are there in, and texts in them.

English is what stands in the code, the templates and the rulebook. A catalogue (``languages/<tag>.po``, gettext's own
format) says what each text is in another language; a text that no catalogue has, as that of an organisation's own rule,
stays as its author wrote it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from pathlib import Path

from babel import Locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import get_decimal_symbol, get_group_symbol
from babel.support import NullTranslations, Translations

from api.environment import shipped_rules

OF_PAGES = Path(__file__).parent / "languages"
USUAL = "en"
NUMERAL = re.compile(r"-?\d{1,3}(,\d{3})+(\.\d+)?|-?\d+(\.\d+)?")
"""A number as the code writes it, thousands maybe apart."""


@dataclass(frozen=True, slots=True)
class Language:
    """A language to answer in.

    Attributes:
        tag: BCP 47, as ``lang`` of a page.   name: in the language itself.
        locale: how it writes numbers and dates.
    """

    tag: str
    name: str
    locale: Locale
    _texts: NullTranslations = field(repr=False)

    @property
    def decimal(self) -> str:
        """The sign between units and tenths."""
        return str(get_decimal_symbol(self.locale))

    def numeral(self, text: str) -> str:
        """A text of NUMERAL with this language's signs."""
        group = str(get_group_symbol(self.locale))
        return text.translate(str.maketrans(",.", group[:1] + self.decimal[:1]))

    def say(self, text: str, /, **named: object) -> str:
        """A text in this language, with ``{name}`` put in; the text itself where no catalogue has it."""
        found = self._texts.gettext(text) if text else text
        return found.format_map(named) if named else found

    def several(self, one: str, many: str, number: int, /, **named: object) -> str:
        """A text that depends on a number, which is ``{number}`` in it."""
        return self._texts.ngettext(one, many, number).format_map({"number": number, **named})


@cache
def languages() -> Mapping[str, Language]:
    """Every language by tag, English first."""
    found = {USUAL: Language(USUAL, "English", Locale(USUAL), NullTranslations())}
    for path in sorted(OF_PAGES.glob("*.po")):
        locale = Locale.parse(path.stem, sep="-")
        texts = Translations()
        for part in (of_rules(path.stem), path):  # what pages say themselves goes before
            texts.add(_compiled(part, locale))
        name = locale.get_display_name() or path.stem
        found[path.stem] = Language(path.stem, name[:1].upper() + name[1:], locale, texts)
    return found


def of_rules(tag: str) -> Path:
    """The catalogue of the shipped rulebook's texts in a language."""
    return shipped_rules() / "languages" / f"{tag}.po"


def _compiled(path: Path, locale: Locale) -> Translations:
    """A catalogue as it is looked up in. Raises OSError, PoFileError."""
    with path.open("rb") as file:
        catalogue = read_po(file, locale=str(locale), abort_invalid=True)
    compiled = BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    return Translations(compiled)


def language_for(wanted: str, accepted: str) -> Language:
    """The language a reader chose, else the first that their browser accepts and we have, else English.

    Args:
        wanted: a tag, '' for none.   accepted: the Accept-Language header (RFC 9110, section 12.5.4).
    """
    have = languages()
    if wanted in have:
        return have[wanted]
    ranked = []
    for position, part in enumerate(accepted.split(",")[:20]):
        tag, _, weight = part.partition(";q=")
        try:
            ranked.append((-float(weight or 1), position, tag.strip().lower()))
        except ValueError:
            continue
    for rank, _, tag in sorted(ranked):
        if rank < 0 and tag.split("-")[0] in have:
            return have[tag.split("-")[0]]
    return have[USUAL]
