"""The short form of a certificate, and its QR code."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from hashlib import sha256
from xml.etree import ElementTree

import pytest
import segno

from api.certificates.certificate import Claims, sign
from api.certificates.keys import SigningKey
from api.certificates.qr import svg, terminal
from api.certificates.short import belongs, short_form

PAGE = "https://audit.tarnfield.example/starts"
QUIET = 4
"""ISO/IEC 18004: modules of white on every side."""


@pytest.fixture
def short(claims: Claims, certificate: str) -> str:
    return short_form(PAGE, claims.start, certificate)


def test_it_says_where_which_and_what(short: str, certificate: str) -> None:
    assert short == f"{PAGE}/start-0031/{sha256(certificate.encode()).hexdigest()[:16]}"
    assert short_form(f"{PAGE}/", "start-0031", certificate) == short


def test_it_belongs_to_its_certificate(short: str, claims: Claims, certificate: str) -> None:
    assert belongs(short, claims, certificate)
    assert belongs(f" {short}\n", claims, certificate)


def test_an_id_cannot_pass_for_another_part(claims: Claims, certificate: str) -> None:
    odd = replace(claims, start="a/b?c#d é")
    text = short_form(PAGE, odd.start, certificate)
    assert re.fullmatch(re.escape(PAGE) + r"/a%2Fb%3Fc%23d%20%C3%A9/[0-9a-f]{16}", text)
    assert belongs(text, odd, certificate)


def test_it_belongs_to_no_other(short: str, claims: Claims, certificate: str, key: SigningKey) -> None:
    renewed = replace(claims, expires=claims.expires + 1)
    assert not belongs(short, renewed, sign(renewed, key))
    other = replace(claims, start="start-0032")
    assert not belongs(short, other, certificate)
    for text in ("", short[:-1], short[:-1] + "g", short + "0", short.upper(), "é" * 40, short.rpartition("/")[2]):
        assert not belongs(text, claims, certificate)


def modules(short: str) -> list[list[bool]]:
    """The code's modules with its quiet zone, dark as true."""
    matrix = segno.make_qr(short, error="m", boost_error=False).matrix_iter(scale=1, border=QUIET)
    return [[bool(module) for module in row] for row in matrix]


def test_the_svg_draws_every_module(short: str) -> None:
    root = ElementTree.fromstring(svg(short, "start-0031"))
    space = "{http://www.w3.org/2000/svg}"
    wanted = modules(short)
    assert root.get("viewBox") == f"0 0 {len(wanted)} {len(wanted)}"
    title = root.find(f"{space}title")
    assert title is not None
    assert title.text == "start-0031"
    (dark,) = (path for path in root.iter(f"{space}path") if path.get("stroke"))
    found = [[False] * len(row) for row in wanted]
    x, y = 0.0, 0.0
    for name, numbers in re.findall(r"([Mmh])([-0-9. ]+)", dark.get("d") or ""):
        values = [float(number) for number in numbers.split()]
        if name == "h":
            for place in range(int(x), int(x + values[0])):
                found[int(y)][place] = True
            x += values[0]
        else:
            x, y = (values[0], values[1]) if name == "M" else (x + values[0], y + values[1])
    assert found == wanted


def test_the_terminal_draws_every_module(short: str) -> None:
    """Half blocks; the code is dark on light, and most terminals are light on dark."""
    wanted = modules(short)
    text = re.sub(r"\x1b\[[0-9;]*m", "", terminal(short))
    lines = [line for line in io.StringIO(text).read().split("\n") if line]
    halves = {"█": (False, False), "▀": (False, True), "▄": (True, False), " ": (True, True)}
    found = [[halves[sign][half] for sign in line] for line in lines for half in (0, 1)]
    assert len(found) - len(wanted) in (0, 1)
    assert [row[: len(wanted)] for row in found[: len(wanted)]] == wanted


def test_a_title_is_text_and_never_markup(short: str) -> None:
    root = ElementTree.fromstring(svg(short, "<script>&"))
    assert root.find("{http://www.w3.org/2000/svg}script") is None
