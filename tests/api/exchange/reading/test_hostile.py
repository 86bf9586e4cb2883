"""Files that are sent to harm, or that broke on their way: each is refused with a clear word and costs little.

Kinds of attack: MITRE CWE-611 (external entities), CWE-776 (entity expansion), CWE-409 (compressed bombs), CWE-22 (paths).
"""

from __future__ import annotations

import io
import tracemalloc
import zipfile

import pytest

from api.exchange.reading.files import MOST_FILES, opened
from api.exchange.reading.nouns import NotRead
from api.exchange.reading.registry import format_of
from api.exchange.reading.xml_text import read_xml
from tests.api.exchange.samples import machine, snapshot_xml, task_data, zipped

LAUGHS = b"".join(
    [
        b"<!DOCTYPE Fleet [<!ENTITY a0 'ha'>",
        *(f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>".encode() for n in range(1, 10)),
        b"]><Fleet>&a9;</Fleet>",
    ]
)


@pytest.mark.parametrize(
    "content",
    [
        LAUGHS,
        LAUGHS.replace(b"<Fleet>&a9;</Fleet>", b"<Fleet a='&a9;'/>"),
        b'<!DOCTYPE Fleet SYSTEM "http://127.0.0.1:9/x.dtd"><Fleet/>',
        b'<!DOCTYPE Fleet [<!ENTITY x SYSTEM "file:///etc/passwd">]><Fleet>&x;</Fleet>',
        b"<!doctype Fleet><Fleet/>",
        b'<?xml version="1.0"?><!DOCTYPE Fleet [<!ENTITY % x SYSTEM "file:///etc/passwd"> %x;]><Fleet/>',
        '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE Fleet [<!ENTITY a "b">]><Fleet>&a;</Fleet>'.encode("utf-16"),
    ],
)
def test_document_types_and_entities(content: bytes) -> None:
    with pytest.raises(NotRead, match=r"document type|whole XML"):
        read_xml("fleet.xml", content)


def test_a_document_type_in_an_encoding_that_hides_it() -> None:
    hidden = b'<?xml version="1.0" encoding="UTF-7"?>+ADwAIQ-DOCTYPE x+AD4-<Fleet/>'
    with pytest.raises(NotRead, match="encoding"):
        read_xml("fleet.xml", hidden)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "iso-8859-1", "windows-1252"])
def test_encodings_that_are_read(encoding: str) -> None:
    text = f'<?xml version="1.0" encoding="{encoding}"?><Fleet a="Körnermais"/>'
    assert read_xml("fleet.xml", text.encode(encoding)).get("a") == "Körnermais"


def test_an_encoding_that_is_not_the_one_it_says() -> None:
    with pytest.raises(NotRead, match="not whole XML"):
        read_xml("fleet.xml", '<?xml version="1.0" encoding="UTF-8"?><Fleet a="é"/>'.encode("iso-8859-1"))


@pytest.mark.parametrize(
    "content", [b"", b"  \n", b"<Fleet>", b"<Fleet></Flee>", snapshot_xml([machine()])[:-20], b"\0\1\2"]
)
def test_half_files(content: bytes) -> None:
    with pytest.raises(NotRead, match=r"empty|not whole XML"):
        read_xml("fleet.xml", content)


def test_xml_that_is_too_deep_or_too_much() -> None:
    with pytest.raises(NotRead):
        read_xml("fleet.xml", b"<a>" * 5000 + b"</a>" * 5000)
    with pytest.raises(NotRead, match="tags"):
        read_xml("fleet.xml", b"<Fleet>" + b"<a/>" * 1_500_001 + b"</Fleet>")


def test_a_bomb_in_an_archive_is_not_unpacked() -> None:
    bomb = zipped({"TASKDATA.XML": b" " * 50_000_000})
    tracemalloc.start()
    with pytest.raises(NotRead, match="more tightly"):
        opened("TASKDATA.zip", bomb)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000


def test_an_archive_that_lies_of_a_size() -> None:
    """The size in the directory is set to one byte; the file itself holds more."""
    packed = bytearray(zipped({"TASKDATA.XML": b"<a>" + b"x" * 5000 + b"</a>"}))
    at = packed.rindex(b"PK\x01\x02") + 24
    packed[at : at + 4] = (1).to_bytes(4, "little")
    files = opened("TASKDATA.zip", bytes(packed))
    with pytest.raises(NotRead):
        files.read("TASKDATA.XML")


@pytest.mark.parametrize(
    "path", ["../TASKDATA.XML", "/TASKDATA.XML", "a/../../TASKDATA.XML", "C:/TASKDATA.XML", "..\\TASKDATA.XML"]
)
def test_paths_that_lead_out(path: str) -> None:
    with pytest.raises(NotRead, match="path"):
        opened("TASKDATA.zip", zipped({path: task_data()}))


def test_too_many_files() -> None:
    with pytest.raises(NotRead, match="files"):
        opened("a.zip", zipped({f"{n}.txt": b"" for n in range(MOST_FILES + 1)}, stored=True))


def test_twins_and_doubles() -> None:
    good = opened("a.zip", zipped({"._TASKDATA.XML": b"junk", "__MACOSX/x": b"junk", "TASKDATA.XML": task_data()}))
    assert good.paths() == ["TASKDATA.XML"]
    twice = io.BytesIO()
    with zipfile.ZipFile(twice, "w") as archive:
        archive.writestr("TASKDATA.XML", task_data())
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("TASKDATA.XML", task_data())
    with pytest.raises(NotRead, match="twice"):
        opened("a.zip", twice.getvalue())


def test_an_encrypted_archive() -> None:
    packed = bytearray(zipped({"TASKDATA.XML": task_data()}))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        packed[packed.index(signature) + offset] |= 1
    with pytest.raises(NotRead, match="encrypted"):
        opened("a.zip", bytes(packed))


@pytest.mark.parametrize("content", [b"PK\x03\x04", b"PK\x05\x06", zipped({"TASKDATA.XML": task_data()})[:-30]])
def test_half_archives(content: bytes) -> None:
    with pytest.raises(NotRead):
        format_of(opened("a.zip", content))


def test_a_broken_file_in_an_archive() -> None:
    packed = bytearray(zipped({"TASKDATA.XML": task_data()}))
    packed[60:90] = b"\xff" * 30
    with pytest.raises(NotRead, match="broken"):
        opened("a.zip", bytes(packed)).read("TASKDATA.XML")


def test_an_archive_in_an_archive_is_not_opened() -> None:
    with pytest.raises(NotRead, match="no format"):
        format_of(opened("a.zip", zipped({"b.zip": zipped({"TASKDATA.XML": task_data()})})))
