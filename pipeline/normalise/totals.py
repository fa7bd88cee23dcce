"""Lines that sum up a table (a last line ``TOTAL`` or ``716 points``) are no records of wells.

Works row by row. A line is one of these when the cell of the well id, or where that is empty another cell of
text, is a word for a sum or a count of records, and nothing else in it says when, where or what a well is.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numba
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.compiled import CAN_KEEP
from pipeline.ingest.intake import folded
from pipeline.normalise import text
from pipeline.normalise.signs import Signs
from pipeline.normalise.spread import ROWS_COMPILED

if TYPE_CHECKING:
    from pipeline.ingest.layouts import TableMap

REASON_CODE = "totals_row"
_SUM = r"(grand |sub|sub-|overall )?totals?|sum|average|avg\.?|mean|median|minimum|maximum|std\.? ?dev\.?|count"
_KINDS = "records?|rows?|lines?|entries|wells?|boreholes?|bores?|points?|reports?|sites?|items?|samples?|tests?"
_COUNTED = rf"\d[\d,. ]* ({_KINDS})"
# whole cell: "Total", "Total wells", "Total: 716", "716 points", "count of records", "records: 716"
PATTERN = (
    rf"(?i)^[\s*#=-]*((({_SUM})( (of|number of|no\.? of))?( all)?( ({_KINDS}))?)|({_KINDS})( total)?|"
    rf"(({_SUM})[ :=-]*)?{_COUNTED}( in (all|total)| total)?)[\s:=*-]*$"
)
_BEFORE = rf"({_SUM})( (of|number of|no\.? of))?( ({_KINDS}))?[ :=-]|({_KINDS}) ?[:=]"
_WITH_NUMBER = rf"(?i)^[\s*#=-]*({_BEFORE})[ :=-]*\d[\d,. ]*$"
# what each word of PATTERN and _WITH_NUMBER begins with, as three letters: none matches without one of them
_WORDS = re.findall("[a-z]{3,}", f"{_SUM} {_KINDS}")
_BEGINNINGS = frozenset(word[:3] for word in _WORDS)
_BARE_KIND = rf"(?i)^[\s*#=-]*({_KINDS})( total)?[\s:=*-]*$"


def _open_letters() -> NDArray[np.bool_]:
    """Which three letters, as numbers of base 26, begin a word for a total."""
    out = np.zeros(26**3, dtype=np.bool_)
    for word in _BEGINNINGS:
        a, b, c = (ord(sign) - ord("a") for sign in word)
        out[(a * 26 + b) * 26 + c] = True
    return out


_OPENS = _open_letters()


@numba.njit(nogil=True, cache=CAN_KEEP)
def _may_say(data, starts, ends, opens, out):
    """Texts that hold three letters with which a word for a total begins, or three letters and a foreign one."""
    for r in range(starts.size):
        run, number, foreign, spoken, found = 0, 0, False, False, False
        for k in range(starts[r], ends[r]):
            sign = data[k]
            lower = sign | 0x20
            if lower >= 97 and lower <= 122:
                run += 1
                number = (number * 26 + lower - 97) % 17576
                if run >= 3:
                    spoken = True
                    found = found or opens[number]
            else:
                run = 0
                foreign = foreign or sign >= 0x80
        out[r] = found or (foreign and spoken)


def _candidates(texts: pa.StringArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Places of texts that may be words for a total, and of those that may be empty but for blanks."""
    if len(texts) < ROWS_COMPILED or texts.null_count:
        spoken = np.flatnonzero(pc.fill_null(pc.match_substring_regex(texts, "[A-Za-z]{3}|[vV][gG]"), False))
        return spoken, np.arange(len(texts))
    signs = Signs.of(texts)
    out = np.empty(len(texts), np.bool_)
    _may_say(signs.data, signs.starts, signs.ends, _OPENS, out)
    # blanks of all scripts are trimmed; those of ASCII are below the first letter and figure
    return np.flatnonzero(out), np.flatnonzero((signs.first <= ord(" ")) | (signs.first >= 0x80))


def _says_total(texts: pa.Array) -> NDArray[np.bool_]:
    """Which texts are words for a sum or a count of records; a bare ``well`` or ``point`` is none."""
    hit = pc.or_(pc.match_substring_regex(texts, PATTERN), pc.match_substring_regex(texts, _WITH_NUMBER))
    hit = pc.and_not(hit, pc.match_substring_regex(texts, _BARE_KIND))
    return pc.fill_null(hit, False).to_numpy(zero_copy_only=False)


def _measures(table: TableMap) -> set[str]:
    """Headers, folded, of columns that a line of sums may fill: measured ones, but not places."""
    places = ("latitude_deg", "longitude_deg")
    return {
        folded(header) for name, column in table.columns.items() for header in column.sources
        if schema.fields()[name].type in ("number", "integer") and name not in places
    }  # fmt: skip


def find(frame: pd.DataFrame, table: TableMap, missing: tuple[str, ...] = ()) -> NDArray[np.int64]:
    """Places of the lines of totals in a raw frame.

    Parameters
    ----------
    frame : DataFrame
        Raw text columns and the integer columns that count lines and records.
    table : TableMap
        The table it is read as.
    missing : tuple of str
        The layout's words for missing.
    """
    names = {folded(name): name for name in frame.columns if not str(name).startswith("_")}
    ids = [names[folded(h)] for h in table.id if folded(h) in names]
    measured = _measures(table)
    said = [n for key, n in names.items() if key not in measured and n not in ids]
    found: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
    if ids:
        first = text.plain(frame[ids[0]])
        spoken, bare = _candidates(first)
        found = spoken[_says_total(first.take(pa.array(spoken)))]
        # a line without an id may tell its total elsewhere
        few = first.take(pa.array(bare))
        open_rows = bare[np.flatnonzero(pc.fill_null(pc.equal(pc.utf8_trim_whitespace(few), ""), True))]
        found = np.union1d(found, open_rows)
    elif said:
        told = [_says_total(text.plain(frame[name])) for name in said]
        found = np.flatnonzero(np.logical_or.reduce(told))
    if not len(found):
        return found
    return found[_sums(frame.iloc[found], ids, said, text.missing_words((*missing, "")))]


def _sums(rows: pd.DataFrame, ids: list[str], said: list[str], missing: set[str]) -> NDArray[np.bool_]:
    """Which of a few rows say a total and nothing of a well beyond figures."""

    def cells_of(name: str) -> tuple[pa.Array, NDArray[np.bool_]]:
        cells = pc.fill_null(pc.utf8_trim_whitespace(text.plain(rows[name])), "")
        return cells, ~text.is_in(cells, missing)

    total, other = np.zeros(len(rows), dtype=bool), np.zeros(len(rows), dtype=bool)
    by_id = np.zeros(len(rows), dtype=bool)
    for name in (*ids, *said):
        cells, filled = cells_of(name)
        word = _says_total(cells)
        total |= word
        by_id |= word & (name in ids)
        other |= filled & ~word & _wordy(cells, name in ids)
    figures: Any = [c for c in rows.columns if c not in (*ids, *said) and not str(c).startswith("_")]
    count = np.zeros(len(rows), dtype=np.int64)
    for name in figures:
        count += cells_of(name)[1]
    # without the word in the id cell, few figures may stand beside it
    return total & ~other & (by_id | (count <= max(2, len(figures) // 4)))


def _wordy(cells: pa.Array, is_id: bool) -> NDArray[np.bool_]:
    """Cells that say something of a well: any text but a bare figure; in an id column any text at all."""
    if is_id:
        return np.ones(len(cells), dtype=bool)
    return ~pc.match_substring_regex(cells, r"^[\d,. ]+$").to_numpy(zero_copy_only=False)
