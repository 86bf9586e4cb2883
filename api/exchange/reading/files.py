"""The files of one import: a single one, those of an archive, or those of a folder. Nothing is written anywhere."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from api.exchange.reading.nouns import NotRead

MOST_FILES = 4000
MOST_BYTES = 256 * 1024 * 1024
"""Most bytes of all files of an archive together."""
MOST_RATIO = 200
"""How much smaller a file may be packed; more is a bomb. XML of real machines is packed to about a twentieth."""
FREE_BYTES = 1024 * 1024
"""Below this size the ratio is of no account: a few kilobytes of blanks are no danger."""
_NOT_OURS = ("__MACOSX",)
_ENCRYPTED = 0x1


@dataclass(frozen=True, slots=True)
class Files:
    """Files by path, '/' between the parts, read when they are asked for."""

    name: str
    by_path: Mapping[str, Callable[[], bytes]]

    def paths(self) -> list[str]:
        """Every path, in order."""
        return sorted(self.by_path)

    def read(self, path: str) -> bytes:
        """A file's bytes. Raises NotRead for one that is broken."""
        return self.by_path[path]()

    def find(self, folder: str, name: str) -> str | None:
        """The path of a file in a folder, its name in any case; None if there is none."""
        for path in self.paths():
            pure = PurePosixPath(path)
            if str(pure.parent) == folder and pure.name.casefold() == name.casefold():
                return path
        return None


def single(name: str, content: bytes) -> Files:
    """One file."""
    return Files(name, {PurePosixPath(name).name or "file": lambda: content})


def is_archive(content: bytes) -> bool:
    """Whether it begins as a zip archive does (PKWARE APPNOTE 4.3.7 and 4.3.16)."""
    return content[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def opened(name: str, content: bytes) -> Files:
    """The files of what was sent. Raises NotRead for an archive that must not be opened."""
    return unpacked(name, content) if is_archive(content) else single(name, content)


def unpacked(name: str, content: bytes) -> Files:
    """The files of a zip archive. Raises NotRead."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = archive.infolist()
    # NotImplementedError is what zipfile raises for an archive of a kind that it does not know
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError) as error:
        raise NotRead(name, f"is no whole zip archive ({error})", "Export it again; the file may be cut off") from None
    if len(members) > MOST_FILES:
        raise NotRead(name, f"holds {len(members):,} files, at most {MOST_FILES:,} are read", "Send fewer at once")
    if sum(one.file_size for one in members) > MOST_BYTES:
        raise NotRead(name, f"holds more than {MOST_BYTES:,} bytes when unpacked", "Send fewer files at once")
    found: dict[str, Callable[[], bytes]] = {}
    for one in members:
        if one.is_dir():
            continue
        path = _safe(name, one.filename)
        if path.parts[0] in _NOT_OURS or path.name.startswith("._"):
            continue  # twins with a file system's own notes, not the files themselves
        if one.flag_bits & _ENCRYPTED:
            raise NotRead(f"{name}/{path}", "is encrypted", "Send the archive without a password")
        if one.file_size > max(FREE_BYTES, MOST_RATIO * one.compress_size):
            raise NotRead(
                f"{name}/{path}", "is packed more tightly than any real file", "It may be an attack; look first"
            )
        if str(path) in found:
            raise NotRead(f"{name}/{path}", "is in the archive twice", "Nobody can say which one holds; send one")
        found[str(path)] = _reader(archive, one, f"{name}/{path}")
    return Files(name, found)


def _safe(name: str, written: str) -> PurePosixPath:
    """A member's path. Raises NotRead for one that would lead out of the archive."""
    path = PurePosixPath(written.replace("\\", "/"))
    if path.is_absolute() or ".." in path.parts or ":" in written or "\0" in written or not path.parts:
        raise NotRead(name, f"holds a file with the path '{written[:80]}'", "It may be an attack; look first")
    return path


def _reader(archive: zipfile.ZipFile, member: zipfile.ZipInfo, shown: str) -> Callable[[], bytes]:
    def read() -> bytes:
        try:
            with archive.open(member) as opened:
                found = opened.read(member.file_size + 1)
        # NotImplementedError: a compression that zipfile does not know
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError) as error:
            raise NotRead(shown, f"is broken ({error})", "Export it again") from None
        if len(found) > member.file_size:
            raise NotRead(shown, "is longer than the archive says", "It may be an attack; look first")
        return found

    return read
