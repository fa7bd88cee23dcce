"""Points of a GeoJSON file as a grid of text: one row a feature, its properties as columns."""

from __future__ import annotations

import json
from typing import Any

from pipeline.errors import SourceError
from pipeline.ingest.sheets import Grid, as_text

LONGITUDE, LATITUDE = "longitude", "latitude"


def looks_so(head: bytes) -> bool:
    """Whether the first bytes open a JSON object."""
    return head.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"


def _point(feature: dict[str, Any]) -> tuple[str, str]:
    """Longitude and latitude as text; empty where the geometry is missing or no single point."""
    geometry = feature.get("geometry")
    if not isinstance(geometry, dict):
        return "", ""
    place = geometry.get("coordinates")
    if geometry.get("type") == "MultiPoint" and isinstance(place, list) and len(place) == 1:
        place = place[0]
    elif geometry.get("type") != "Point":
        return "", ""
    if not isinstance(place, list) or len(place) < 2:
        return "", ""
    return as_text(place[0]), as_text(place[1])


def read_geojson(content: bytes, name: str) -> Grid:
    """A collection of points as rows of text below a header of property names.

    Positions are longitude, latitude in WGS 84 (RFC 7946, sections 3.1.1 and 4); they come as the columns
    ``longitude`` and ``latitude``, before the properties. The identifier of a feature comes as ``feature_id``
    where features have one. Row 1 is the header, so that feature n is row n + 1.

    Raises
    ------
    SourceError
        When it is no JSON, no collection of features, or holds no point.
    """
    try:
        document = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise SourceError(f"{name}: begins as JSON and is broken ({str(error)[:80]}).") from None
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or document.get("type") != "FeatureCollection":
        raise SourceError(f"{name}: JSON, but no GeoJSON collection of features; save the wells as points or .csv.")
    features = [f if isinstance(f, dict) else {} for f in features]
    crs = document.get("crs")
    told = str(crs.get("properties", {}).get("name", "")) if isinstance(crs, dict) else ""
    if told and not told.upper().endswith(("CRS84", "EPSG::4326", "EPSG:4326", "4326")):
        raise SourceError(f"{name}: coordinates are in {told[:60]}; GeoJSON takes WGS 84 longitude and latitude only.")
    properties: list[dict[str, Any]] = [
        p if isinstance(p := feature.get("properties"), dict) else {} for feature in features
    ]
    points = [_point(feature) for feature in features]
    if not any(lon for lon, _ in points):
        raise SourceError(f"{name}: GeoJSON without a point; wells are points.")
    keys = list(dict.fromkeys(key for row in properties for key in row))
    has_id = any("id" in feature for feature in features)
    header = [*(["feature_id"] if has_id else []), LONGITUDE, LATITUDE, *keys]
    rows = [header]
    for feature, point, found in zip(features, points, properties, strict=True):
        own = [as_text(feature.get("id"))] if has_id else []
        rows.append([*own, *point, *(as_text(found.get(key)) for key in keys)])
    return Grid(name, rows)
