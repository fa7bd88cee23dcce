"""Compiled passes over the raw bytes of delimited text: where each record lies, and its wanted cells.

A record may span lines (line breaks inside quotes), so records are found byte by byte; each keeps the
physical line on which it begins. One quote that is never closed must not swallow the file: when a record
of several lines does not fit the header, its first line alone is set aside and reading goes on below it.

Most records hold no quote: those are read eight bytes at a time, all others byte by byte, with the same outcome.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import CAN_KEEP
from pipeline.ingest import eights

GOOD, BLANK, COMMENT, FOOTER, TOO_FEW, TOO_MANY, BAD_BYTES, UNTERMINATED, TOO_LONG = range(9)
REASON = {TOO_FEW: "too_few_fields", TOO_MANY: "too_many_fields", BAD_BYTES: "bad_bytes",
          UNTERMINATED: "unterminated_quote", TOO_LONG: "too_long"}  # fmt: skip
ASCII, UTF8, CP1252 = range(3)
# a quoted text of more lines than this is taken for a quote that was never closed
MAX_LINES = 200
# no record of a well is longer; what is, is set aside instead of filling the memory
MAX_BYTES = 1 << 24
_LF, _CR, _TAB, _BLANK, _MARK = 10, 13, 9, 32, ord('"')
_KEEP = CAN_KEEP and Path(__file__).exists()


@cache
def forms_of(encoding: str) -> NDArray[np.uint8]:
    """Per byte of an encoding of single bytes: length of its UTF-8 form (0: not defined) and the form itself."""
    out = np.zeros((256, 4), np.uint8)
    for byte in range(256):
        try:
            form = bytes([byte]).decode(encoding).encode()
        except UnicodeDecodeError:
            continue
        out[byte, 0] = len(form)
        out[byte, 1 : 1 + len(form)] = list(form)
    return out


FORMS = forms_of("cp1252")


@numba.njit(nogil=True, cache=_KEEP)
def _is_utf8(buf, start, end):
    """Whether the bytes are UTF-8 (RFC 3629: no overlong forms, no surrogates)."""
    i = start
    while i < end:
        b = buf[i]
        if b < 0x80:
            i += 1
            continue
        if 0xC2 <= b <= 0xDF:
            more = 1
        elif 0xE0 <= b <= 0xEF:
            more = 2
        elif 0xF0 <= b <= 0xF4:
            more = 3
        else:
            return False
        if i + more >= end:
            return False
        second = buf[i + 1]
        if (b == 0xE0 and second < 0xA0) or (b == 0xED and second > 0x9F):
            return False
        if (b == 0xF0 and second < 0x90) or (b == 0xF4 and second > 0x8F):
            return False
        for k in range(1, more + 1):
            if (buf[i + k] & 0xC0) != 0x80:
                return False
        i += more + 1
    return True


@numba.njit(nogil=True, cache=_KEEP)
def _record(buf, pos, delim, quote):
    """One record from ``pos``: end, next position, lines, fields, last field with content, broken, seen bits."""
    size = buf.size
    i, fields, filled, lines = pos, 1, 0, 1
    at_start, in_quote, closed, junk = True, False, False, False
    seen, nul = 0, False
    while i < size:
        b = buf[i]
        if in_quote:
            if b == quote:
                if i + 1 < size and buf[i + 1] == quote:
                    filled = fields
                    i += 2
                    continue
                in_quote, closed = False, True
            elif b == _LF:
                lines += 1
                if lines > MAX_LINES or i - pos > MAX_BYTES:
                    break
            elif b != _BLANK and b != _CR and b != _TAB:
                filled = fields
        elif b == delim:
            fields += 1
            at_start, closed = True, False
        elif b == _LF:
            break
        elif b == quote and at_start:
            in_quote, at_start = True, False
        elif b != _BLANK and b != _CR and b != _TAB:
            junk = junk or closed
            at_start = False
            filled = fields
        seen |= b
        nul = nul or b == 0
        i += 1
    broken = in_quote or (junk and lines > 1)
    return i, min(i + 1, size), lines, fields, filled, broken, seen, nul


@numba.njit(nogil=True, cache=_KEEP)
def find_records(
    buf, words, pos, until, line, delim, quote, expected, required, comment, forms, single, limit, place, lines, state
):
    """Records that begin from byte ``pos`` on, which is physical line ``line``, and before byte ``until``.

    Parameters
    ----------
    buf : uint8 array, whole file
    words : uint64 array, the same bytes, see :func:`eights.words_of`
    expected, required : int
        Fields of the header, and the fewest a record may have (unnamed last columns may be left off).
    comment : int
        Byte that opens a comment line where the fields do not fit; -1 for none.
    forms : uint8 array, 256 by 4
        UTF-8 forms of single bytes, see :func:`forms_of`.
    single : bool
        Whether every record is read by ``forms``, not only those that are no UTF-8.
    limit : int
        Stop after so many records; -1 for all.
    place : int64 array, 3 by at least as many as there are lines; filled
        First byte of each record, byte after its last (line end left out), physical line on which it begins.
    lines : int32 array; filled
        Physical lines each takes.
    state : uint8 array, 2 by as many; filled
        GOOD, BLANK, COMMENT or a fault; ASCII, UTF8 or CP1252.

    Returns
    -------
    count, stop : int
        Records found, and the byte at which reading stopped: where the last record ended unless limited.
    """
    n, kept = 0, 0
    ends, marks, delims = eights.eightfold(_LF), eights.eightfold(_MARK), eights.eightfold(delim)
    while pos < until and (limit < 0 or kept < limit):
        # a record without any quotation mark ends with its line; its delimiters are counted by the word
        stop, fields, keep, highs, nulls = -1, 1, eights.from_byte(pos), np.uint64(0), np.uint64(0)
        for at in range(pos >> 3, words.size):
            word = words[at]
            end = eights.noughts(word ^ ends) & keep
            if end:
                keep &= eights.below(end)
            if eights.noughts(word ^ marks) & keep:
                break
            fields += eights.counted(eights.noughts(word ^ delims) & keep)
            highs |= word & keep & eights.HIGHS
            nulls |= eights.noughts(word) & keep
            if end:
                stop = 8 * at + eights.first(end)
                break
            keep = eights.ALL
        plain = stop >= 0 and required <= fields <= expected
        if plain:
            # and it holds more than blanks
            k = pos
            while k < stop and (buf[k] == delim or buf[k] == _BLANK or buf[k] == _CR or buf[k] == _TAB):
                k += 1
            plain = k < stop
        if plain:
            after, took, found, high, nul = stop + 1, 1, GOOD, highs != 0, nulls != 0
        else:
            stop, after, took, fields, filled, broken, seen, nul = _record(buf, pos, delim, quote)
            fits = fields == expected or (fields > expected and filled <= expected)
            fits = fits or required <= fields < expected
            if broken or (took > 1 and not fits):
                stop = pos
                seen, nul = 0, False
                while stop < buf.size and buf[stop] != _LF:
                    seen |= buf[stop]
                    nul = nul or buf[stop] == 0
                    stop += 1
                after, took = min(stop + 1, buf.size), 1
                found = UNTERMINATED
            elif filled == 0 and took == 1:
                found = BLANK
            elif comment >= 0 and buf[pos] == comment and not fits:
                found = COMMENT
            elif fits:
                found = GOOD
            else:
                found = TOO_FEW if fields < expected else TOO_MANY
            high = seen & 0x80 != 0
        code = ASCII
        if high:
            code = CP1252 if single or not _is_utf8(buf, pos, stop) else UTF8
            if code == CP1252:
                for k in range(pos, stop):
                    if forms[buf[k], 0] == 0:
                        nul = True
        if nul and found == GOOD:
            found = BAD_BYTES
        if stop - pos > MAX_BYTES:
            found = TOO_LONG
        place[0, n], place[1, n], place[2, n], lines[n] = pos, stop, line, took
        state[0, n], state[1, n] = found, code
        n += 1
        if found != BLANK and found != COMMENT:
            kept += 1
        pos, line = after, line + took
    return n, pos


@numba.njit(nogil=True, cache=_KEEP)
def _shape(buf, pos, delim, quote):
    """One record, header or not: next position, lines, fields, last filled one, how many are filled."""
    stop, after, took, fields, filled, broken, _, _ = _record(buf, pos, delim, quote)
    if broken:
        stop, took = pos, 1
        while stop < buf.size and buf[stop] != _LF:
            stop += 1
        after = min(stop + 1, buf.size)
    count, has = 0, False
    for i in range(pos, stop):
        b = buf[i]
        if b == delim:
            count += has
            has = False
        elif b != _BLANK and b != _CR and b != _TAB and b != quote:
            has = True
    return after, took, fields, filled, count + has


@numba.njit(nogil=True, cache=_KEEP)
def parts(buf, words, pos, delim, quote, comment):
    """Whether a record below the first is blank, a comment, or holds one cell only: such a line may part tables."""
    ends, marks, top = eights.eightfold(_LF), eights.eightfold(quote), True
    while pos < buf.size:
        # two filled cells at the beginning of a line without quotes are enough
        k, count, has = pos, 0, False
        while k < buf.size and count + has < 2 and buf[k] != _LF and buf[k] != quote:
            b = buf[k]
            if b == delim:
                count += has
                has = False
            elif b != _BLANK and b != _CR and b != _TAB:
                has = True
            k += 1
        stop, plain, keep = -1, True, eights.from_byte(k)
        for at in range(k >> 3, words.size):
            end = eights.noughts(words[at] ^ ends) & keep
            if end:
                keep &= eights.below(end)
            if eights.noughts(words[at] ^ marks) & keep:
                plain = False
                break
            if end:
                stop = 8 * at + eights.first(end)
                break
            keep = eights.ALL
        if plain and stop < 0:
            stop = max(k, 8 * words.size)
            while stop < buf.size and buf[stop] != _LF:
                plain = plain and buf[stop] != quote
                stop += 1
        if plain:
            apart, after = count + has < 2, stop + 1
        else:
            after, _, _, filled, cells = _shape(buf, pos, delim, quote)
            apart = cells < 2 or filled < 2
        if not top and (apart or buf[pos] == comment):
            return True
        pos, top = after, False
    return False


@numba.njit(nogil=True, cache=_KEEP)
def shapes(buf, pos, delim, quote, place, shape):
    """Shape of every record, header or not; a quote that is not closed ends with its line.

    ``place`` gets the first byte and the lines before it; ``shape`` the fields, the last filled one, and how many
    are filled. Returns the number of records.
    """
    n, line = 0, 0
    while pos < buf.size:
        after, took, fields, filled, count = _shape(buf, pos, delim, quote)
        place[0, n], place[1, n] = pos, line
        shape[0, n], shape[1, n], shape[2, n] = fields, filled, count
        n += 1
        pos, line = after, line + took
    return n


@numba.njit(nogil=True, cache=_KEEP)
def locate(buf, words, start, end, delim, quote, strip, slots, begin, length, escaped):
    """Byte ranges of the wanted cells of good records.

    ``slots[field]`` is the column of ``begin`` and ``length`` for that field, -1 when it is not wanted. A cell
    in quotes gives what stands between them; ``escaped`` says that doubled quotes are to be halved. Where
    quotes do not bind (``quote`` -1), a cell that begins and ends with the byte ``strip`` loses both.
    """
    wanted, covered = slots.size, 8 * words.size
    marks, delims = eights.eightfold(_MARK), eights.eightfold(delim)
    for r in range(start.size):
        i, stop, field = start[r], end[r], 0
        if stop > i and buf[stop - 1] == _CR:
            stop -= 1
        # where no quotation mark stands before the last wanted cell, delimiters are found by the word
        plain, keep, at = stop <= covered, eights.from_byte(i), i >> 3
        while plain and field < wanted and 8 * at < stop:
            word = words[at]
            if 8 * at + 8 > stop:
                keep &= ~eights.from_byte(stop)
            plain = (eights.noughts(word ^ marks) & keep) == 0
            found = eights.noughts(word ^ delims) & keep
            while found and field < wanted:
                place, slot = 8 * at + eights.first(found), slots[field]
                if slot >= 0:
                    begin[r, slot], length[r, slot], escaped[r, slot] = i, place - i, False
                field += 1
                i = place + 1
                found &= found - eights.ONE
            keep, at = eights.ALL, at + 1
        if plain and field < wanted:
            slot = slots[field]
            if slot >= 0:
                begin[r, slot], length[r, slot], escaped[r, slot] = i, stop - i, False
            field, i = field + 1, stop
        elif not plain:
            field, i = 0, start[r]
        while field < wanted and not plain:
            cell, j, doubled, opened, closed_at, junk = i, i, False, -1, -1, False
            while j < stop and (buf[j] == _BLANK or (buf[j] == _TAB and delim != _TAB)):
                j += 1
            if j < stop and buf[j] == quote:
                opened = j + 1
                j += 1
                while j < stop:
                    if buf[j] == quote:
                        if j + 1 < stop and buf[j + 1] == quote:
                            doubled = True
                            j += 2
                            continue
                        closed_at = j
                        j += 1
                        break
                    j += 1
            while j < stop and buf[j] != delim:
                junk = junk or (buf[j] != _BLANK and buf[j] != _TAB)
                j += 1
            slot = slots[field]
            if slot >= 0:
                if opened >= 0 and closed_at >= 0 and not junk:
                    begin[r, slot], length[r, slot], escaped[r, slot] = opened, closed_at - opened, doubled
                elif quote < 0 and j - cell >= 2 and buf[cell] == strip and buf[j - 1] == strip:
                    begin[r, slot], length[r, slot], escaped[r, slot] = cell + 1, j - cell - 2, False
                else:
                    begin[r, slot], length[r, slot], escaped[r, slot] = cell, j - cell, False
            field += 1
            if j >= stop:
                break
            i = j + 1
        while field < wanted:
            if slots[field] >= 0:
                begin[r, slots[field]], length[r, slots[field]] = 0, 0
                escaped[r, slots[field]] = False
            field += 1


@numba.njit(nogil=True, cache=_KEEP)
def copy_cells(buf, begin, length, escaped, coding, quote, forms, offsets, out):
    """Text of one column as Arrow large strings; fills ``offsets`` (one more than cells) and ``out``.

    ``out`` needs the sum of ``length``, three times that where a record is CP1252. Returns the bytes used.
    """
    at = 0
    offsets[0] = 0
    for r in range(begin.size):
        i, stop = begin[r], begin[r] + length[r]
        if not escaped[r] and coding[r] != CP1252:
            for k in range(i, stop):
                out[at] = buf[k]
                at += 1
        else:
            while i < stop:
                b = buf[i]
                if coding[r] == CP1252 and b >= 0x80:
                    for k in range(forms[b, 0]):
                        out[at] = forms[b, 1 + k]
                        at += 1
                else:
                    out[at] = b
                    at += 1
                    if escaped[r] and b == quote and i + 1 < stop and buf[i + 1] == quote:
                        i += 1
                i += 1
        offsets[r + 1] = at
    return at
