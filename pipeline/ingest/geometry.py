"""Points out of binary geometries: well-known binary, the GeoPackage head before it, and shapefile records.

Sources: OGC 06-103r4 (well-known binary), OGC 12-128r18 clause 2.1.3 (GeoPackage), ESRI Shapefile Technical
Description (July 1998).
"""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SourceError

_POINT, _MULTIPOINT = 1, 4
# bytes of the envelope by its indicator
_ENVELOPE = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
# shape types: point and point with measures or heights; several points
_SHAPE_POINT, _SHAPE_MANY = (1, 11, 21), (8, 18, 28)
_SHAPE_HEAD, _RECORD_HEAD = 100, 8
_SHAPE_CODE, _SHAPE_VERSION = 9994, 1000
_NONE = (float("nan"), float("nan"))


def wkb_point(blob: bytes, at: int = 0) -> tuple[float, float]:
    """x and y of a point, or of the one place that a multi-point holds; NaN for anything else.

    Heights and measures are passed over, whether told by thousands or by the high bits of the type.
    """
    try:
        order = "<" if blob[at] == 1 else ">"
        kind = struct.unpack_from(order + "I", blob, at + 1)[0]
        plain, wide = (kind & 0xFFFF) % 1000, (kind & 0xFFFF) // 1000
        at += 9 if kind & 0x20000000 else 5
        if plain == _POINT:
            return struct.unpack_from(order + "dd", blob, at)
        if plain == _MULTIPOINT:
            count = struct.unpack_from(order + "I", blob, at)[0]
            more = (wide in (1, 3)) + (wide in (2, 3)) + bool(kind & 0x80000000) + bool(kind & 0x40000000)
            step = 5 + 8 * (2 + more)
            if 0 < count <= (len(blob) - at) // step:
                places = {wkb_point(blob, at + 4 + step * n) for n in range(count)}
                return places.pop() if len(places) == 1 else _NONE
    except (struct.error, IndexError):
        pass
    return _NONE


def package_points(blobs: list[bytes | None]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and y of geometries as a GeoPackage keeps them; NaN where there is no point."""
    x, y = np.full(len(blobs), np.nan), np.full(len(blobs), np.nan)
    given = np.array([at for at, blob in enumerate(blobs) if isinstance(blob, bytes) and len(blob) >= 8], np.int64)
    lengths = np.array([len(blobs[at] or b"") for at in given], np.int64)
    for length in np.unique(lengths):
        rows = given[lengths == length]
        block = np.frombuffer(b"".join(blobs[at] or b"" for at in rows), np.uint8).reshape(-1, length)
        # geometries of one length mostly share their head; those that do not are read one by one
        head = 8 + _ENVELOPE.get((int(block[0, 3]) >> 1) & 7, 0)
        alike = (block[:, :4] == block[0, :4]).all(axis=1)
        if length >= head + 21 and bytes(block[0, :2]) == b"GP" and not block[0, 3] & 0x30:
            alike &= (block[:, head : head + 5] == block[0, head : head + 5]).all(axis=1)
            order = "<" if block[0, head] == 1 else ">"
            kind = int.from_bytes(bytes(block[0, head + 1 : head + 5]), "little" if order == "<" else "big")
            if kind in (1, 1001, 2001, 3001):
                pairs = np.ascontiguousarray(block[alike, head + 5 : head + 21]).view(order + "f8")
                x[rows[alike]], y[rows[alike]] = pairs[:, 0], pairs[:, 1]
                rows = rows[~alike]
        for at in rows:
            x[at], y[at] = _package_point(blobs[at] or b"")
    return x, y


def _package_point(blob: bytes) -> tuple[float, float]:
    if blob[:2] != b"GP" or blob[3] & 0x10:
        return _NONE
    return wkb_point(blob, 8 + _ENVELOPE.get((blob[3] >> 1) & 7, 0))


def shape_points(buffer: NDArray[np.uint8], name: str) -> tuple[NDArray[np.float64], NDArray[np.float64], bool]:
    """x and y of the records of a .shp file, in its order; and whether it is a file of points.

    Raises
    ------
    SourceError
        When the head is not that of a .shp file.
    """
    head = bytes(buffer[:_SHAPE_HEAD])
    if len(head) < _SHAPE_HEAD or struct.unpack_from(">i", head)[0] != _SHAPE_CODE:
        raise SourceError(f"{name}: the head is not that of a .shp file.")
    version, kind = struct.unpack_from("<ii", head, 28)
    if version != _SHAPE_VERSION:
        raise SourceError(f"{name}: the head is not that of a .shp file.")
    body = np.asarray(buffer[_SHAPE_HEAD:])
    step = _RECORD_HEAD + {1: 20, 11: 36, 21: 28}.get(kind, 0)
    if kind in _SHAPE_POINT and body.size and body.size % step == 0:
        block = body.reshape(-1, step)
        told = int.from_bytes(bytes(block[0, 4:8]), "big")
        same = (block[:, 4:12] == block[0, 4:12]).all()
        if same and 2 * told == step - _RECORD_HEAD and int(block[0, 8]) == kind:
            pairs = np.ascontiguousarray(block[:, 12:28]).view("<f8")
            return pairs[:, 0].copy(), pairs[:, 1].copy(), True
    raw, at, points = bytes(body), 0, []
    while at + _RECORD_HEAD + 4 <= len(raw):
        length = 2 * struct.unpack_from(">i", raw, at + 4)[0]
        if length < 4:
            break
        points.append(_shape_point(raw[at + _RECORD_HEAD : at + _RECORD_HEAD + length]))
        at += _RECORD_HEAD + length
    x, y = (np.array([point[axis] for point in points], np.float64) for axis in (0, 1))
    return x, y, kind in (*_SHAPE_POINT, *_SHAPE_MANY)


def _shape_point(content: bytes) -> tuple[float, float]:
    try:
        kind = struct.unpack_from("<i", content)[0]
        if kind in _SHAPE_POINT:
            return struct.unpack_from("<dd", content, 4)
        if kind in _SHAPE_MANY:
            count = struct.unpack_from("<i", content, 36)[0]
            if 0 < count <= (len(content) - 40) // 16:
                places = {struct.unpack_from("<dd", content, 40 + 16 * n) for n in range(count)}
                return places.pop() if len(places) == 1 else _NONE
    except struct.error:
        pass
    return _NONE
