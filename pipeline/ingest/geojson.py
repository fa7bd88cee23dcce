"""Points of GeoJSON, whole or a feature a line, as columns of text: one row a feature, its properties as columns."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from pipeline.errors import SourceError
from pipeline.ingest.header import COLUMNS_MOST, decode
from pipeline.ingest.places import LATITUDE, LONGITUDE, to_wgs84, with_places
from pipeline.ingest.sheets import Grid, as_text

__all__ = ["LATITUDE", "LONGITUDE", "looks_so", "read_geojson"]
# a document is held in memory some ten times its size
BYTES_MOST = 1 << 30
CELLS_MOST = 1 << 28
_RECORD_SEPARATOR = b"\x1e"
_NO_PLACE = (float("nan"), float("nan"))


def looks_so(head: bytes) -> bool:
    """Whether the first bytes open a JSON object."""
    return head.removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n\x1e")[:1] == b"{"


def _point(feature: dict[str, Any]) -> tuple[float, float]:
    """Longitude and latitude; NaN where the geometry is missing or no single place."""
    geometry = feature.get("geometry")
    if not isinstance(geometry, dict):
        return _NO_PLACE
    place = geometry.get("coordinates")
    if geometry.get("type") == "MultiPoint" and isinstance(place, list):
        places = [p for p in place if isinstance(p, list)]
        if not places or any(p[:2] != places[0][:2] for p in places):
            return _NO_PLACE
        place = places[0]
    elif geometry.get("type") != "Point":
        return _NO_PLACE
    if not isinstance(place, list) or len(place) < 2:
        return _NO_PLACE
    try:
        return float(place[0]), float(place[1])
    except (TypeError, ValueError, OverflowError):
        return _NO_PLACE


def read_geojson(content: bytes, name: str) -> Grid:
    """A collection of points, or a feature a line, as columns of text.

    Positions are longitude, latitude in WGS 84 (RFC 7946, sections 3.1.1 and 4), or in the system that an older
    document (GeoJSON 2008) names; they come as the columns ``longitude`` and ``latitude`` before the properties,
    unless these bring their own. The identifier of a feature comes as ``feature_id`` where features have one.
    Row 1 is the header, so that feature n is row n + 1; of a file with a feature a line the row is the line, and a
    line that is no feature is set aside.

    Raises
    ------
    SourceError
        When it is no JSON, no collection of features, or holds no point.
    """
    if len(content) > BYTES_MOST:
        raise SourceError(f"{name}: GeoJSON of more than 1 GiB; save it as .gpkg or .csv.")
    lines: list[int] | None = None
    faults: list[tuple[int, int, int, str, str]] = []
    try:
        document = _loaded(content)
    except (ValueError, RecursionError) as error:
        features, lines, faults = _by_line(content)
        if not features:
            raise SourceError(f"{name}: begins as JSON and is broken ({str(error)[:80]}).") from None
        document = {"type": "FeatureCollection", "features": features}
    if isinstance(document, dict) and document.get("type") == "Feature":
        document = {"type": "FeatureCollection", "features": [document]}
    found = document.get("features") if isinstance(document, dict) else None
    if not isinstance(found, list) or document.get("type") != "FeatureCollection":
        raise SourceError(f"{name}: JSON, but no GeoJSON collection of features; save the wells as points or .csv.")
    features = [f if isinstance(f, dict) else {} for f in found]
    return _grid(features, _told_system(document), lines, faults, name)


def _loaded(content: bytes) -> Any:
    """JSON in UTF-8, as RFC 8259 asks, or else in cp1252; line ends inside of texts are let pass."""
    return json.loads(decode(content.removeprefix(b"\xef\xbb\xbf")), strict=False)


def _by_line(content: bytes) -> tuple[list[dict[str, Any]], list[int], list[tuple[int, int, int, str, str]]]:
    """Features of a text that holds one a line (or after a record separator, RFC 8142), and lines that are none."""
    features, lines, faults, offset = [], [], [], 0
    for number, line in enumerate(content.split(b"\n"), 1):
        plain = line.removeprefix(b"\xef\xbb\xbf").strip(b" \t\r" + _RECORD_SEPARATOR)
        if plain:
            try:
                found = _loaded(plain)
            except (ValueError, RecursionError):
                found = None
            if isinstance(found, dict) and found.get("type") == "Feature":
                features.append(found)
                lines.append(number)
            else:
                faults.append((number, offset, len(line), "bad_json", "The line is no feature."))
        offset += len(line) + 1
    return features, lines, faults


def _told_system(document: dict[str, Any]) -> str:
    """Reference system that a document of the older form names, "" for WGS 84."""
    crs = document.get("crs")
    properties = crs.get("properties") if isinstance(crs, dict) else None
    told = str(properties.get("name", "")) if isinstance(properties, dict) else ""
    return "" if not told or told.upper().endswith(("CRS84", "EPSG::4326", "EPSG:4326", "4326")) else told


def _grid(features: list[dict[str, Any]], crs: str, lines: list[int] | None,
          faults: list[tuple[int, int, int, str, str]], name: str) -> Grid:  # fmt: skip
    properties: list[dict[str, Any]] = [
        p if isinstance(p := feature.get("properties"), dict) else {} for feature in features
    ]
    points = np.array([_point(feature) for feature in features], np.float64).reshape(-1, 2)
    points[~np.isfinite(points).all(axis=1)] = np.nan
    if not np.isfinite(points).any():
        raise SourceError(f"{name}: GeoJSON without a point{f' in {crs[:60]}' if crs else ''}; wells are points.")
    notes = [f"Its points are in {crs[:60]} and were converted."] if crs else []
    lon, lat = to_wgs84(points[:, 0], points[:, 1], crs, name)
    keys = list(dict.fromkeys(key for row in properties for key in row))
    if len(keys) > COLUMNS_MOST or len(keys) * len(features) > CELLS_MOST:
        raise SourceError(f"{name}: its features have {len(keys)} properties, which no table of wells has.")
    columns = [[as_text(row.get(key)) for row in properties] for key in keys]
    if any("id" in feature for feature in features):
        keys = ["feature_id", *keys]
        columns = [[as_text(feature.get("id")) for feature in features], *columns]
    numbers = None if lines is None else np.asarray(lines, np.int64)
    return with_places(name, keys, columns, lon, lat, notes, lines=numbers, faults=faults)
