"""Records of a dBASE table of fixed width, as columns of text."""

from __future__ import annotations

import codecs
import datetime as dt
import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest.header import COLUMNS_MOST, decode
from pipeline.ingest.sheets import Grid, as_text

_HEAD, _FIELD, _END = 32, 32, 0x0D
_DELETED = ord("*")
# day of the Julian count less this is the day of Python's calendar: 2451545 is 2000-01-01, its day 730120
_JULIAN = 1_721_425


def encoding_told(text: str) -> str:
    """Codec of what a .cpg file says (``UTF-8``, ``1252``, ``OEM 437``), "" when it is none."""
    plain = text.strip().strip("\0\ufeff").lower()
    number = re.search(r"\d{3,5}$", plain)
    for name in (plain, f"cp{number[0]}" if number else "", plain.replace("ansi ", "cp").replace("oem ", "cp")):
        try:
            return codecs.lookup(name).name if name else ""
        except (LookupError, ValueError):
            continue
    return ""


def read_dbf(buffer: NDArray[np.uint8], name: str, encoding: str = "") -> tuple[Grid, NDArray[np.bool_]]:
    """Columns of the table, and which of its records are kept: deleted ones are left out.

    Parameters
    ----------
    encoding : str
        As told beside the table; "": UTF-8, and cp1252 cell by cell where it is not.

    Raises
    ------
    SourceError
        When the head does not describe such a table.
    """
    head = bytes(buffer[:_HEAD])
    if len(head) < _HEAD:
        raise SourceError(f"{name}: too short for a .dbf table.")
    count = int.from_bytes(head[4:8], "little")
    top, width = int.from_bytes(head[8:10], "little"), int.from_bytes(head[10:12], "little")
    fields, at, place = [], _HEAD, 1
    descriptors = bytes(buffer[:top])
    while at + _FIELD <= len(descriptors) and descriptors[at] != _END:
        title = decode(descriptors[at : at + 11].split(b"\0")[0], encoding)
        kind, size = chr(descriptors[at + 11]), descriptors[at + 16]
        fields.append((title, kind, place, place + size))
        place, at = place + size, at + _FIELD
    if not fields or width < place or buffer.size < top or len(fields) > COLUMNS_MOST:
        raise SourceError(f"{name}: the head does not describe a .dbf table.")
    room = (buffer.size - top) // width
    records = np.asarray(buffer[top : top + min(count, room) * width]).reshape(-1, width)
    kept = records[:, 0] != _DELETED
    columns = [_column(records[kept, begin:end], kind, encoding) for _, kind, begin, end in fields]
    grid = Grid.of_columns(name, [f[0] for f in fields], columns)
    if count > room:
        grid.notes.append(f"Its head tells {count} records and {room} are in it.")
    if not kept.all():
        grid.notes.append(f"{int((~kept).sum())} records marked as deleted are left out.")
    return grid, kept


def _column(raw: NDArray[np.uint8], kind: str, encoding: str) -> pd.Series:
    """Text of one field of all records."""
    count, size = raw.shape
    raw = np.ascontiguousarray(raw)
    if size == 0 or count == 0 or kind == "M":
        return pd.Series([""] * count, dtype="str")
    if kind in "I+" and size == 4:
        return pd.Series(raw.view("<i4").ravel().astype(str), dtype="str")
    if kind in "OB" and size == 8:
        return pd.Series([as_text(v) for v in raw.view("<f8").ravel().tolist()], dtype="str")
    if kind in "T@" and size == 8:
        return pd.Series([_instant(*pair) for pair in raw.view("<i4").tolist()], dtype="str")
    cells = pa.array(raw.view(f"S{size}").ravel(), pa.binary())
    if raw.max() < 0x80 and raw.min() > 0:
        text = cells.cast(pa.string())
    else:
        distinct = cells.dictionary_encode()
        words = [decode(v.split(b"\0")[0], encoding) for v in distinct.dictionary.to_pylist()]
        text = pa.array(words, pa.string()).take(distinct.indices)
    text = pc.utf8_trim_whitespace(text)
    if kind in "NFD":
        distinct = text.dictionary_encode()
        convert = _date if kind == "D" else _number
        text = pa.array([convert(v) for v in distinct.dictionary.to_pylist()], pa.string()).take(distinct.indices)
    return text.to_pandas()


def _number(text: str) -> str:
    if set(text) <= {"*"}:
        return ""
    if "." in text or "e" in text.lower():
        try:
            return as_text(float(text))
        except (ValueError, OverflowError):
            return text
    return text


def _date(text: str) -> str:
    return f"{text[:4]}-{text[4:6]}-{text[6:]}" if len(text) == 8 and text.isdigit() else text


def _instant(day: int, milliseconds: int) -> str:
    """A day of the Julian count and the milliseconds of that day."""
    try:
        found = dt.datetime.fromordinal(day - _JULIAN) + dt.timedelta(milliseconds=milliseconds)
    except (ValueError, OverflowError):
        return ""
    return as_text(found)
