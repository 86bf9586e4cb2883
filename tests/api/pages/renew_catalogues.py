"""Brings the catalogues of every language up to the texts that there are: what is new is empty, what is gone goes.

    python -m tests.api.pages.renew_catalogues [TAG …]

Without a tag every language that is there; with one that is not there yet, its two empty catalogues are made.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from io import BytesIO
from pathlib import Path

from babel import Locale
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from api.environment import rulebook
from api.pages.languages import OF_PAGES, of_rules
from api.pages.texts import of_pages, of_rulebook

Text = str | tuple[str, str]


def renewed(path: Path, texts: Iterable[Text]) -> bytes:
    """A catalogue with these texts in this order and the translations that its file has."""
    locale = Locale.parse(path.stem, sep="-")
    before = _read(path, locale)
    after = Catalog(locale, charset="utf-8", fuzzy=False)
    for text in texts:
        found: Message | None = before.get(text if isinstance(text, str) else text[0])
        after.add(text, found.string if found is not None and not found.fuzzy else None)
    written = BytesIO()
    write_po(written, after, width=0, omit_header=True)
    return _HEADER.format(plural=after.plural_forms).encode() + written.getvalue()


_HEADER = (
    'msgid ""\nmsgstr ""\n"MIME-Version: 1.0\\n"\n"Content-Type: text/plain; charset=utf-8\\n"\n'
    '"Content-Transfer-Encoding: 8bit\\n"\n"Plural-Forms: {plural}\\n"\n\n'
)


def _read(path: Path, locale: Locale) -> Catalog:
    if not path.exists():
        return Catalog(locale)
    with path.open("rb") as file:
        return read_po(file, locale=str(locale), abort_invalid=True)


if __name__ == "__main__":
    rules = of_rulebook(rulebook())
    for tag in sys.argv[1:] or [path.stem for path in sorted(OF_PAGES.glob("*.po"))]:
        for path, texts in ((OF_PAGES / f"{tag}.po", of_pages()), (of_rules(tag), rules)):
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(renewed(path, texts))
            print(path)
