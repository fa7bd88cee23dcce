"""Input paths to open tables: folders walked, archives unpacked, formats told apart by their content."""

from __future__ import annotations

import gzip
import io
import os
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import SourceError, UsageError
from pipeline.ingest import archives
from pipeline.ingest.dbf import read_dbf
from pipeline.ingest.geojson import looks_so, read_geojson
from pipeline.ingest.geopackage import MAGIC, read_geopackage
from pipeline.ingest.opened import Opened
from pipeline.ingest.sections import grid_parts, text_parts
from pipeline.ingest.shapes import PARTS, read_shapes, stem_of
from pipeline.ingest.sheets import Grid, read_workbook
from pipeline.ingest.texts import open_text

__all__ = ["InputFile", "Opened", "list_files", "open_file", "other_kind"]

# a file up to this size is read into memory: one that is mapped and shrinks meanwhile would end the program
MAPPED_FROM = 64 << 20
_BINARY = {b"PAR1": "a Parquet file", b"%PDF": "a PDF", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture",
           b"\x7fELF": "a program", b"\xd0\xcf\x11\xe0": "an old workbook (.xls)", b"GIF8": "a picture",
           b"BZh": "a bzip2 archive", b"\xfd7zX": "an xz archive", b"7z\xbc\xaf": "a 7z archive",
           b"(\xb5/\xfd": "a zstd archive", b"Rar!": "a rar archive"}  # fmt: skip
_BROKEN = (zipfile.BadZipFile, gzip.BadGzipFile, zlib.error, EOFError, RuntimeError, NotImplementedError, ValueError)


@dataclass(frozen=True)
class InputFile:
    """One input file: where it is, how it is called in messages and ledger, whether a folder gave it.

    ``parts`` are the other files of a shapefile, by their endings.
    """

    path: Path
    name: str
    in_folder: bool
    parts: dict[str, Path] = field(default_factory=dict, hash=False)


@cache
def _kinds() -> dict[str, str]:
    return {end: row["what"] for row in schema.rows("not_tables") for end in row["endings"].split("|")}


def other_kind(name: str) -> str:
    """What a file is by its ending where that ending is never a table's: ``settings of a program``; else ""."""
    return _kinds().get(Path(name).suffix.lower(), "")


def list_files(paths: list[Path]) -> list[InputFile]:
    """Files to read, those of a folder by relative path; hidden ones and parts of a shapefile are left out.

    Raises
    ------
    UsageError
        When a path does not exist.
    """
    out: list[InputFile] = []
    for path in paths:
        if path.is_dir():
            found = _walked(path)
            if not found:
                raise UsageError(f"{path}: the folder holds no file.")
            out += [InputFile(p, p.name, True) for p in found]
        elif path.exists():
            out.append(InputFile(path, path.name, False))
        else:
            raise UsageError(f"{path}: no such file or folder. Check the path.")
    if not out:
        raise UsageError("No input was given; name a file or a folder.")
    return _together(out)


def _walked(path: Path) -> list[Path]:
    """Files below a folder; a folder inside it that cannot be entered stands for its files."""
    found: list[Path] = []
    closed: list[Path] = []
    for folder, inner, names in os.walk(path, onerror=lambda error: closed.append(Path(error.filename))):
        inner[:] = [name for name in inner if not name.startswith(".")]
        found += [Path(folder) / name for name in names if not name.startswith(".")]
    return sorted([*found, *closed], key=lambda p: p.relative_to(path).as_posix())


def _together(files: list[InputFile]) -> list[InputFile]:
    """One entry a shapefile: its table, with the other files of that name as parts."""
    tables = {stem_of(f.path): f for f in files if f.path.suffix.lower() == ".dbf"}
    shapes = {stem_of(f.path): f for f in files if f.path.suffix.lower() == ".shp"}
    out = []
    for file in files:
        ending, stem = file.path.suffix.lower(), stem_of(file.path)
        if ending == ".shp" and stem in tables:
            continue
        if ending in PARTS and ending not in (".dbf", ".shp") and (stem in tables or stem in shapes):
            continue
        journal = file.path.name.removesuffix("-wal").removesuffix("-shm")
        if journal != file.path.name and file.path.with_name(journal).exists():
            continue
        if ending in (".dbf", ".shp"):
            beside = {e: p for e in PARTS if (p := _beside(file.path, e)) is not None}
            shown = shapes[stem].name if stem in shapes else file.name
            file = replace(file, name=shown, parts=beside)
        out.append(file)
    return out


def _beside(path: Path, ending: str) -> Path | None:
    """The file of the same name and another ending, whatever its case."""
    for found in (path.with_suffix(ending), path.with_suffix(ending.upper())):
        if found.is_file():
            return found
    return None


def _of_bytes(content: bytes, name: str, plain: str, depth: int) -> Iterator[Opened]:
    """Tables of one file already in memory."""
    archives.nested(name, depth)
    if content[:2] == archives.GZIP:
        inner = archives.gunzip(io.BytesIO(content), len(content), name)
        yield from _of_bytes(inner, name, plain.removesuffix(".gz"), depth + 1)
    elif content[:4] == archives.ZIP:
        yield from _of_zip(io.BytesIO(content), name, depth)
    elif content.startswith(MAGIC):
        yield from _of_grids(read_geopackage(content, name), name)
    else:
        yield from _plain(np.frombuffer(content, np.uint8), name, plain)


def _of_zip(content: IO[bytes], name: str, depth: int) -> Iterator[Opened]:
    with zipfile.ZipFile(content) as archive:
        if archives.is_workbook(archive):
            archives.members(archive, name)
            if not any(n.startswith("xl/") for n in archive.namelist()):
                raise SourceError(f"{name}: an office document without sheets, not a table.")
            content.seek(0)
            yield from _of_grids(read_workbook(content, name), name)
            return
        if "mimetype" in archive.namelist() and "content.xml" in archive.namelist():
            raise SourceError(f"{name}: an OpenDocument file, which is not read; save the sheet as .xlsx or .csv.")
        found = archives.members(archive, name)
        by_name = {info.filename.lower(): info for _, info in found}
        tables = [member for member in found if not _is_part(member[1].filename, by_name)]
        for inner, info in tables:
            shown = name if len(tables) == 1 else f"{name}: {inner}"
            try:
                stem = stem_of(info.filename)
                wanted = PARTS if inner.lower().endswith((".dbf", ".shp")) else ()
                beside = {e: archives.unpack(archive, by_name[stem + e], shown) for e in wanted if stem + e in by_name}
                content_bytes = archives.unpack(archive, info, shown)
                if not content_bytes:
                    raise SourceError(f"{shown}: the file is empty.")
                if beside:
                    inside = _of_shapes(content_bytes, shown, beside)
                else:
                    inside = _of_bytes(content_bytes, shown, inner, depth + 1)
                for opened in inside:
                    opened.one_of_many = len(tables) > 1
                    yield opened
            except (SourceError, *_BROKEN) as error:
                if len(tables) == 1:
                    raise
                told = str(error) if isinstance(error, SourceError) else f"{shown}: cannot be unpacked ({error})."
                yield Opened(shown, one_of_many=True, fault=told)


def _is_part(name: str, others: dict[str, zipfile.ZipInfo]) -> bool:
    """Whether a member belongs to the shapefile of another member."""
    ending = next((e for e in PARTS if name.lower().endswith(e)), "")
    if ending in ("", ".dbf") or (ending == ".shp" and stem_of(name) + ".dbf" not in others):
        return False
    return stem_of(name) + ".dbf" in others or stem_of(name) + ".shp" in others


def _of_shapes(table: bytes, name: str, parts: dict[str, bytes]) -> Iterator[Opened]:
    buffers = {ending: np.frombuffer(content, np.uint8) for ending, content in parts.items()}
    buffers.setdefault(".dbf", np.frombuffer(table, np.uint8))
    yield from _of_grids([read_shapes(buffers, name)], name)


def _of_grids(grids: list[Grid], name: str) -> Iterator[Opened]:
    """Every sheet or layer that is a table; the one alone keeps the name of its file."""
    parts = [part for grid in grids for part in grid_parts(grid)]
    tables = [part for part in parts if part[1].is_table()] or parts[:1]
    for title, grid in tables:
        yield Opened(name if len(tables) == 1 else f"{name}: {title}", grids=[grid])


def _plain(buffer: NDArray[np.uint8], name: str, plain: str) -> Iterator[Opened]:
    """Text, .dbf or GeoJSON content; refuses what is no table."""
    if buffer.size == 0:
        raise SourceError(f"{name}: the file is empty.")
    head = bytes(buffer[:8192])
    for mark, what in _BINARY.items():
        if head.startswith(mark):
            raise SourceError(f"{name}: {what}, which is not read; save the table as .csv or .xlsx.")
    if plain.lower().endswith(".dbf"):
        yield Opened(name, grids=[read_dbf(buffer, name)[0]])
    elif looks_so(head):
        yield Opened(name, grids=[read_geojson(bytes(buffer), name)])
    else:
        yield from text_parts(open_text(buffer, name))


def _content(path: Path, size: int) -> NDArray[np.uint8]:
    """Bytes of a file: in memory, or mapped where it is large."""
    return np.fromfile(path, np.uint8) if size <= MAPPED_FROM else np.memmap(path, np.uint8, "r")


def open_file(file: InputFile) -> Iterator[Opened]:
    """The tables a file holds: one a member of an archive, sheet of a workbook, layer, or stretch of a text.

    Raises
    ------
    SourceError
        When it is empty, binary, broken or too large when unpacked.
    """
    name = file.name
    try:
        if not file.path.is_file():
            raise SourceError(f"{name}: not a regular file." if file.path.exists() else f"{name}: cannot be found.")
        size = file.path.stat().st_size
        if size == 0:
            raise SourceError(f"{name}: the file is empty.")
        with file.path.open("rb") as handle:
            mark = handle.read(16)
            handle.seek(0)
            if mark[:2] == archives.GZIP:
                content = archives.gunzip(handle, size, name)
                yield from _of_bytes(content, name, name.removesuffix(".gz"), 1)
                return
            if mark[:4] == archives.ZIP:
                yield from _of_zip(handle, name, 0)
                return
        if mark == MAGIC:
            yield from _of_grids(read_geopackage(file.path, name), name)
        elif file.path.suffix.lower() in (".dbf", ".shp"):
            buffers = {ending: np.fromfile(path, np.uint8) for ending, path in file.parts.items()}
            yield from _of_grids([read_shapes(buffers, name)], name)
        else:
            yield from _plain(_content(file.path, size), name, name)
    except OSError as error:
        raise SourceError(f"{name}: cannot be read ({error.strerror or error}).") from None
    except _BROKEN as error:
        raise SourceError(f"{name}: the archive cannot be unpacked ({error}).") from None
    except MemoryError:
        raise SourceError(f"{name}: too large for the memory of this machine; split it.") from None
