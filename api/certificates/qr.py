"""A text as a QR code (ISO/IEC 18004), for paper and for a terminal."""

from __future__ import annotations

import io

import segno

LEVEL = "m"
"""Error correction: 15 % of the code may be dirt."""


def svg(text: str, title: str) -> str:
    """An SVG image of any size, with the quiet zone that the standard asks for."""
    out = io.BytesIO()
    _code(text).save(
        out, kind="svg", title=title, light="#fff", xmldecl=False, omitsize=True, svgclass=None, lineclass=None
    )
    return out.getvalue().decode("utf-8")


def terminal(text: str) -> str:
    """Lines of half blocks: two rows of modules in a line."""
    out = io.StringIO()
    _code(text).terminal(out, compact=True)
    return out.getvalue()


def _code(text: str) -> segno.QRCode:
    return segno.make_qr(text, error=LEVEL, boost_error=False)
