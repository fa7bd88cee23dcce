"""Input paths to open files: folders walked, archives unpacked in memory and within bounds."""

from __future__ import annotations

import gzip
import io
import os
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SourceError, UsageError
from pipeline.ingest.geojson import looks_so, read_geojson
from pipeline.ingest.sheets import Grid, read_dbf, read_workbook

MAX_UNPACKED = 4 << 30
MAX_RATIO = 200
# a small file of equal lines packs very well and harms nobody
RATIO_FROM = 1 << 20
_STEP = 1 << 20
_BINARY = {b"PAR1": "a Parquet file", b"%PDF": "a PDF", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture",
           b"SQLi": "a database", b"\x7fELF": "a program", b"\xd0\xcf\x11\xe0": "an old workbook (.xls)",
           b"BZh": "a bzip2 archive", b"\xfd7zX": "an xz archive", b"7z\xbc\xaf": "a 7z archive"}  # fmt: skip


@dataclass(frozen=True)
class InputFile:
    """One input file: where it is, how it is called in messages and ledger, whether a folder gave it."""

    path: Path
    name: str
    in_folder: bool


@dataclass
class Opened:
    """Content of one file or archive member: the bytes of text, or the grids of a workbook.

    Attributes
    ----------
    name : str
        File name without folder; ``archive.zip: member`` where an archive holds several.
    text : uint8 array or None
        Bytes of delimited text.
    grids : list of Grid
        Sheets of a workbook, or the one table of a .dbf or GeoJSON file.
    skip : int
        Length of the byte order mark.
    one_of_many : bool
        Whether it came from an archive of several files.
    fault : str
        Why it cannot be read, where it is one of many.
    """

    name: str
    text: NDArray[np.uint8] | None = None
    grids: list[Grid] | None = None
    skip: int = 0
    one_of_many: bool = False
    fault: str = ""


def list_files(paths: list[Path]) -> list[InputFile]:
    """Files to read, those of a folder by relative path; hidden ones are left out.

    Raises
    ------
    UsageError
        When a path does not exist.
    """
    out: list[InputFile] = []
    for path in paths:
        if path.is_dir():
            found = []
            for folder, inner, names in os.walk(path):
                inner[:] = [name for name in inner if not name.startswith(".")]
                found += [Path(folder) / name for name in names if not name.startswith(".")]
            found.sort(key=lambda p: p.relative_to(path).as_posix())
            if not found:
                raise UsageError(f"{path}: the folder holds no file.")
            out += [InputFile(p, p.name, True) for p in found]
        elif path.exists():
            out.append(InputFile(path, path.name, False))
        else:
            raise UsageError(f"{path}: no such file or folder. Check the path.")
    if not out:
        raise UsageError("No input was given; name a file or a folder.")
    return out


def _bounded(handle: IO[bytes] | gzip.GzipFile, packed: int, name: str) -> bytes:
    """Everything a packed stream gives, up to the bounds."""
    out, total = [], 0
    while piece := handle.read(_STEP):
        total += len(piece)
        if total > MAX_UNPACKED:
            raise SourceError(f"{name}: unpacks to more than 4 GiB; unpack and split it first.")
        if total > RATIO_FROM and total > MAX_RATIO * max(packed, 1):
            raise SourceError(
                f"{name}: unpacks to more than {MAX_RATIO} times its size, which no table does; unpack it by hand."
            )
        out.append(piece)
    return b"".join(out)


def _check_zip(archive: zipfile.ZipFile, name: str) -> None:
    infos = archive.infolist()
    size, packed = sum(i.file_size for i in infos), sum(i.compress_size for i in infos)
    if size > MAX_UNPACKED:
        raise SourceError(f"{name}: unpacks to more than 4 GiB; unpack and split it first.")
    if size > RATIO_FROM and size > MAX_RATIO * max(packed, 1):
        raise SourceError(
            f"{name}: unpacks to more than {MAX_RATIO} times its size, which no table does; unpack it by hand."
        )


def _zip_members(content: IO[bytes], name: str, depth: int) -> Iterator[Opened]:
    with zipfile.ZipFile(content) as archive:
        _check_zip(archive, name)
        if "[Content_Types].xml" in archive.namelist():
            if not any(n.startswith("xl/") for n in archive.namelist()):
                raise SourceError(f"{name}: an office document without sheets, not a table.")
            content.seek(0)
            yield Opened(name, grids=read_workbook(content, name))
            return
        members = []
        for info in archive.infolist():
            # only the last part of a member's name is used, and nothing is written to disk
            parts = [p for p in info.filename.replace("\\", "/").split("/") if p not in ("", ".", "..")]
            if parts and not info.is_dir() and not any(p.startswith((".", "__MACOSX")) for p in parts):
                members.append((parts[-1], info))
        if not members:
            raise SourceError(f"{name}: the archive holds no file.")
        members.sort(key=lambda m: m[1].filename)
        for inner, info in members:
            shown = name if len(members) == 1 else f"{name}: {inner}"
            with archive.open(info) as handle:
                content_bytes = _bounded(handle, info.compress_size, shown)
            try:
                for opened in _from_bytes(content_bytes, shown, inner, depth + 1):
                    opened.one_of_many = len(members) > 1
                    yield opened
            except SourceError as error:
                if len(members) == 1:
                    raise
                yield Opened(shown, one_of_many=True, fault=str(error))


def _from_bytes(content: bytes, name: str, plain: str, depth: int) -> Iterator[Opened]:
    """Content of one file already in memory."""
    if depth > 2:
        raise SourceError(f"{name}: archives inside archives; unpack it first.")
    if content[:2] == b"\x1f\x8b":
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as handle:
            inner = _bounded(handle, len(content), name)
        yield from _from_bytes(inner, name, plain.removesuffix(".gz"), depth + 1)
    elif content[:4] == b"PK\x03\x04":
        yield from _zip_members(io.BytesIO(content), name, depth)
    else:
        yield _plain(np.frombuffer(content, np.uint8), name, plain)


def _plain(buffer: NDArray[np.uint8], name: str, plain: str) -> Opened:
    """Text, .dbf or GeoJSON content; refuses what is no table."""
    if buffer.size == 0:
        raise SourceError(f"{name}: the file is empty.")
    head = bytes(buffer[:8192])
    for mark, what in _BINARY.items():
        if head.startswith(mark):
            raise SourceError(f"{name}: {what}, which is not read; save the table as .csv or .xlsx.")
    if plain.lower().endswith(".dbf"):
        return Opened(name, grids=[read_dbf(buffer, name)])
    for mark, coding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if head.startswith(mark):
            text = bytes(buffer[2:]).decode(coding, errors="replace").encode()
            return Opened(name, np.frombuffer(text, np.uint8))
    if looks_so(head):
        return Opened(name, grids=[read_geojson(bytes(buffer), name)])
    strange = sum(b < 32 and b not in (9, 10, 12, 13, 26) for b in head)
    # a lone NUL or two is a damaged line; a head full of control bytes is no text
    if strange > max(4, len(head) // 100):
        raise SourceError(f"{name}: the file is binary, not a table of text.")
    empty = b" \t\r\n,;|\xef\xbb\xbf"
    if not head.strip(empty) and not bytes(buffer[: 1 << 20]).strip(empty):
        raise SourceError(f"{name}: the file is empty.")
    if 10 not in buffer[: 1 << 20] and 13 in buffer[: 1 << 20]:
        buffer = np.where(buffer == 13, np.uint8(10), buffer)
    return Opened(name, buffer, skip=3 if head.startswith(b"\xef\xbb\xbf") else 0)


def open_file(file: InputFile) -> Iterator[Opened]:
    """What a file holds; an archive gives one entry a member.

    Raises
    ------
    SourceError
        When it is empty, binary, broken or too large when unpacked.
    """
    name = file.name
    try:
        if not file.path.is_file():
            raise SourceError(f"{name}: not a regular file.")
        size = file.path.stat().st_size
        if size == 0:
            raise SourceError(f"{name}: the file is empty.")
        with file.path.open("rb") as handle:
            mark = handle.read(4)
            handle.seek(0)
            if mark[:2] == b"\x1f\x8b":
                with gzip.GzipFile(fileobj=handle) as packed:
                    content = _bounded(packed, size, name)
                yield from _from_bytes(content, name, name.removesuffix(".gz"), 1)
                return
            if mark == b"PK\x03\x04":
                yield from _zip_members(handle, name, 0)
                return
        yield _plain(np.memmap(file.path, np.uint8, "r"), name, name)
    except (zipfile.BadZipFile, gzip.BadGzipFile, zlib.error, EOFError, RuntimeError, NotImplementedError) as error:
        raise SourceError(f"{name}: the archive cannot be unpacked ({error}).") from None
    except OSError as error:
        raise SourceError(f"{name}: cannot be read ({error.strerror or error}).") from None
