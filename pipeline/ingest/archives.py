"""Archives unpacked in memory, within bounds; nothing is written to disk."""

from __future__ import annotations

import gzip
import zipfile
from typing import IO

from pipeline.errors import SourceError

MAX_UNPACKED = 4 << 30
MAX_RATIO = 200
MAX_MEMBERS = 10_000
# a small file of equal lines packs very well and harms nobody
RATIO_FROM = 1 << 20
GZIP, ZIP = b"\x1f\x8b", b"PK\x03\x04"
_STEP = 1 << 20


def _too_much(total: int, packed: int, name: str) -> None:
    if total > MAX_UNPACKED:
        raise SourceError(f"{name}: unpacks to more than 4 GiB; unpack and split it first.")
    if total > RATIO_FROM and total > MAX_RATIO * max(packed, 1):
        raise SourceError(
            f"{name}: unpacks to more than {MAX_RATIO} times its size, which no table does; unpack it by hand."
        )


def bounded(handle: IO[bytes] | gzip.GzipFile, packed: int, name: str) -> bytes:
    """Everything a packed stream gives, up to the bounds.

    Raises
    ------
    SourceError
        When it gives more than 4 GiB, or more than two hundred times its packed size.
    """
    out, total = [], 0
    while piece := handle.read(_STEP):
        total += len(piece)
        _too_much(total, packed, name)
        out.append(piece)
    return b"".join(out)


def gunzip(content: IO[bytes], packed: int, name: str) -> bytes:
    """Content of a gzip file, within the bounds."""
    with gzip.GzipFile(fileobj=content) as handle:
        return bounded(handle, packed, name)


def is_workbook(archive: zipfile.ZipFile) -> bool:
    """Whether a zip archive is an office document."""
    return "[Content_Types].xml" in archive.namelist()


def members(archive: zipfile.ZipFile, name: str) -> list[tuple[str, zipfile.ZipInfo]]:
    """Files of a zip archive by the last part of their names, in the order of their full names.

    Raises
    ------
    SourceError
        When there is none, too many, or what they unpack to passes the bounds.
    """
    infos = archive.infolist()
    if len(infos) > MAX_MEMBERS:
        raise SourceError(f"{name}: holds more than {MAX_MEMBERS:,} files; unpack it and name those with wells.")
    _too_much(sum(i.file_size for i in infos), sum(i.compress_size for i in infos), name)
    found = []
    for info in infos:
        parts = [p for p in info.filename.replace("\\", "/").split("/") if p not in ("", ".", "..")]
        if parts and not info.is_dir() and not any(p.startswith((".", "__MACOSX")) for p in parts):
            found.append((parts[-1], info))
    if not found:
        raise SourceError(f"{name}: the archive holds no file.")
    return sorted(found, key=lambda member: member[1].filename)


def unpack(archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str) -> bytes:
    """Content of one member, within the bounds."""
    with archive.open(info) as handle:
        return bounded(handle, info.compress_size, name)


def nested(name: str, depth: int) -> None:
    """Refuse archives inside archives inside archives."""
    if depth > 2:
        raise SourceError(f"{name}: archives inside archives; unpack it first.")
