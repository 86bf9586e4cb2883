"""What has room on the two pages of a changeover sheet, reckoned from how wide its texts are; all lengths in mm.

The heights are those of ``sheet.css``; the width is that of A4, the narrower paper.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from api.drawings.svg import wrapped
from api.pages.sheets.printout import Printing
from api.pages.sheets.work_order import values_text
from api.wire import Plain

_POINT = 25.4 / 72
_PAGE = {"a4": 297.0 - 14 - 16, "letter": 279.4 - 14 - 16}
"""Height of a page within its margins, by paper."""
_WIDE = 210.0 - 14 - 16
_HEAD = 44.0
"""The sheet's head with its code, and what it is changed from and to."""
_HEADING = 14.5
_TABLE_HEAD = 7.0
_SETTING, _VALUE, _STATION = 72.0, 28.0, 34.0
"""Widths of the columns of settings, less what pads them."""
_LOOK = (_WIDE - 7) / 2 - 6
_PICTURES_HEAD = 27.0
"""Heading of the second page, and what its layout takes beside the pictures."""
_PICTURE_WIDE = 84.0
_SIZE = re.compile(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"')


def room_for(branch: Plain, cautions: Sequence[str], branches: int, printing: Printing) -> Plain:
    """How many lines of each list have room on the first page, settings before what is looked at.

    Args:
        branch: with its ``moves`` and ``looks``.   cautions: that stand over and under the lists.
        branches: how many share the page.
    """
    view = printing.view
    left = (_PAGE[printing.paper] - _HEAD) / branches - 2 * _HEADING - _TABLE_HEAD - 3 * _high("", _WIDE, 9.5)
    left -= sum(_high(text, _WIDE - 8, 8) + 5 for text in cautions)
    moves = looks = 0
    for one in branch["moves"]:
        now, then = (values_text(one[key], view) for key in ("before", "after"))
        name = f"{one['meaning']} ({one['part']})" if one["part"] else one["meaning"]
        texts = ((one["station"], _STATION), (name, _SETTING), (now, _VALUE), (then, _VALUE * 0.9))
        left -= max(_high(text, wide, 8.5) for text, wide in texts) + 2.2
        if left < 0:
            break
        moves += 1
    for one in branch["looks"]:
        text = f"{one['station']}: {one['meaning']} ({one['part']}): {'; '.join(one['right'])}"
        left -= (_high(text, _LOOK * 0.95, 8.5) + 0.6) / 2
        if left < 4:  # two columns are never quite the same height
            break
        looks += 1
    return {"most_moves": moves, "most_looks": looks}


def fitting(pictures: Sequence[str], branches: int, paper: str) -> list[str]:
    """Pictures in rows of two, as many rows as have room on the second page; one that is too high leaves its room."""
    kept: list[str] = []
    left = (_PAGE[paper] - _PICTURES_HEAD) / branches
    for n in range(0, len(pictures), 2):
        row = pictures[n : n + 2]
        high = max(_picture_high(one) for one in row)
        if high <= left:
            left -= high
            kept += row
    return kept


def _high(text: str, wide: float, points: float) -> float:
    """Height of a text in lines of this width."""
    return len(wrapped(text, wide, points * _POINT)) * points * _POINT * 1.35


def _picture_high(picture: str) -> float:
    """Of a picture with its frame."""
    size = _SIZE.search(picture)
    assert size is not None  # every drawing has its size
    return _PICTURE_WIDE * float(size[2]) / float(size[1]) + 5
