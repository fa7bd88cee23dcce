"""Bytes of a text file as the scanner reads them: UTF-8 or single bytes, lines ended by a line feed."""

from __future__ import annotations

import codecs

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SourceError
from pipeline.ingest.header import BYTES_SEARCHED
from pipeline.ingest.opened import Opened
from pipeline.ingest.parse import Part

_LOOK = 8192
_LF, _CR = 10, 13
_NOT_STRANGE = bytes([9, 10, 12, 13, 26, 30, *range(32, 256)])
_EMPTY = b" \t\r\n,;|\0\xef\xbb\xbf\xff\xfe"
_ASCII = bytes(range(128)).decode("ascii")
# pairs of bytes that are one character each in encodings of several bytes
_PAIRS = (b"\x82\xa0", b"\xb0\xa1", b"\xa4\x40")
# of the bytes at odd or even places of UTF-16 text in a Latin script, this share is nought
_WIDE_SHARE = 0.4


def open_text(buffer: NDArray[np.uint8], name: str) -> Opened:
    """Text of a file; refuses what is no text.

    UTF-16 is written again as UTF-8, so that byte places are those of the text in UTF-8.

    Raises
    ------
    SourceError
        When it is empty or binary.
    """
    head = bytes(buffer[:_LOOK])
    if not head.strip(_EMPTY) and not bytes(buffer[: 1 << 20]).strip(_EMPTY):
        raise SourceError(f"{name}: the file is empty.")
    wide = _wide(head)
    if wide:
        return _narrowed(buffer, name, wide)
    strange = len(head.translate(None, _NOT_STRANGE))
    # a few NULs are damaged lines; a head full of control bytes is no text
    if strange > max(16, len(head) // 20):
        raise SourceError(f"{name}: the file is binary, not a table of text.")
    first = bytes(buffer[: BYTES_SEARCHED + 1])
    if len(first) > BYTES_SEARCHED and not (b"\n" in first or b"\r" in first):
        raise SourceError(f"{name}: its first line is longer than a megabyte, which no header of a table is.")
    mark = 3 if head.startswith(b"\xef\xbb\xbf") else 0
    return Opened(name, _ended(buffer), skip=mark, part=Part(0, mark, 0))


def single_bytes(encoding: str) -> str:
    """Codec of an encoding of single bytes that a layout declares; "" for UTF-8, UTF-16 and cp1252.

    These three are told by the bytes themselves.

    Raises
    ------
    SourceError
        When the encoding is not known, or takes several bytes a character.
    """
    try:
        found = codecs.lookup(encoding).name if encoding else ""
        if not found or found.startswith("utf") or found in ("cp1252", "ascii"):
            return ""
        if bytes(range(128)).decode(found) == _ASCII and all(len(p.decode(found, "replace")) == 2 for p in _PAIRS):
            return found
    except (LookupError, ValueError):
        pass
    raise SourceError(
        f"The layout declares the encoding '{encoding}', which is not read; save the file as UTF-8.", exit_code=2
    )


def _wide(head: bytes) -> str:
    """Codec of UTF-16 text, by its mark or by where its noughts stand; "" when it is none."""
    if head.startswith(b"\xff\xfe"):
        return "<"
    if head.startswith(b"\xfe\xff"):
        return ">"
    pairs = len(head) // 2
    if pairs < 8:
        return ""
    low, high = head[0 : 2 * pairs : 2].count(0), head[1 : 2 * pairs : 2].count(0)
    if high > _WIDE_SHARE * pairs and low < high / 20:
        return "<"
    return ">" if low > _WIDE_SHARE * pairs and high < low / 20 else ""


def _narrowed(buffer: NDArray[np.uint8], name: str, order: str) -> Opened:
    """UTF-16 text as UTF-8; halves of pairs that stand alone become the mark of a character that cannot be read."""
    units = np.frombuffer(bytes(buffer[: buffer.size // 2 * 2]), order + "u2").astype("<u2")
    marked = bool(units.size and units[0] == 0xFEFF)
    first, second = (units & 0xFC00) == 0xD800, (units & 0xFC00) == 0xDC00
    paired = np.zeros(units.size, bool)
    both = first[:-1] & second[1:]
    paired[:-1] |= both
    paired[1:] |= both
    units = np.where((first | second) & ~paired, np.uint16(0xFFFD), units)
    text = units[int(marked) :].tobytes().decode("utf-16-le", "replace").encode()
    if not text.strip(_EMPTY):
        raise SourceError(f"{name}: the file is empty.")
    found = np.frombuffer(text, np.uint8)
    # a character begins at every byte that does not go on with one, and takes two units from U+10000 on
    taken = ((found & 0xC0) != 0x80).astype(np.int64) + (found >= 0xF0)
    origin = 2 * (int(marked) + np.concatenate([[0], np.cumsum(taken)]))
    origin[-1] = buffer.size
    return Opened(name, _ended(found), coding="UTF-16", part=Part(0, 0, 0, origin))


def _ended(buffer: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Text whose lines end in a carriage return alone, with line feeds in their place."""
    if _LF not in buffer[: 1 << 20] and _CR in buffer[: 1 << 20] and _LF not in buffer:
        buffer = np.where(buffer == _CR, np.uint8(_LF), buffer)
    # compiled code takes an array that may not be written to for another kind of array: there is one kind only
    buffer = buffer.view()
    buffer.flags.writeable = False
    return buffer
