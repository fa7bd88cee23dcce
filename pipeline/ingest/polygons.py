"""Polygons that the user gives as regions: a GeoJSON file (RFC 7946) with a name in the properties of each."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import UsageError

# property names that say what a region is called, in the order of trust
NAME_WORDS = ("name", "region", "region_name", "county", "county_name", "district", "district_name", "label")
SHAPES = ("Polygon", "MultiPolygon")
# names of WGS 84 in the member "crs" of older files
WGS84 = ("CRS84", "4326", "WGS84")


@dataclass(frozen=True, eq=False)
class Polygons:
    """Named polygons, WGS 84 degrees.

    Attributes
    ----------
    names : ndarray (n,) of str
    shapes : ndarray (n,) of shapely geometries
        Polygons and multipolygons, valid and prepared, in the order of the file.
    file, property_name : str
        Where they came from.
    """

    names: NDArray[np.object_]
    shapes: NDArray[Any]
    file: str
    property_name: str


@cache
def read_polygons(path: Path, property_name: str = "") -> Polygons:
    """Polygons with their names from a GeoJSON file.

    Parameters
    ----------
    path : Path
    property_name : str
        Property that holds the name; empty: the first of NAME_WORDS that every polygon has.

    Raises
    ------
    UsageError
        When the file is missing, is no GeoJSON of polygons, is in projected coordinates, or names cannot be told.
    """
    import shapely

    where = f"Regions file {path.name}"
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise UsageError(f"Regions file {path}: {error.strerror}.") from None
    except (ValueError, RecursionError) as error:
        raise UsageError(f"{where}: this is no GeoJSON ({error}); write the polygons as GeoJSON, WGS 84.") from None
    features = _features(document, where)
    kinds = [feature["geometry"].get("type") for feature in features]
    strange = sorted({str(kind) for kind in kinds} - set(SHAPES))
    if strange:
        first = next(i for i, kind in enumerate(kinds, 1) if kind not in SHAPES)
        raise UsageError(f"{where}: feature {first} is a {strange[0]}; regions must be polygons or multipolygons.")
    key = property_name or _name_property(features, where)
    names = [_name(feature, key, place, where) for place, feature in enumerate(features, 1)]
    shapes = np.empty(len(features), dtype=object)
    for place, feature in enumerate(features):
        try:
            shapes[place] = shapely.from_geojson(json.dumps(feature["geometry"]))
        except (shapely.errors.ShapelyError, ValueError) as error:
            raise UsageError(f"{where}: polygon {place + 1} ('{names[place]}') cannot be read: {error}.") from None
    empty = np.flatnonzero(shapely.is_empty(shapes))
    if len(empty):
        raise UsageError(f"{where}: polygon {empty[0] + 1} ('{names[empty[0]]}') has no corners.")
    west, south, east, north = shapely.total_bounds(shapes)
    if not (west >= -360 and east <= 360 and south >= -90 and north <= 90):
        raise UsageError(
            f"{where}: coordinates run from {west:.6g}, {south:.6g} to {east:.6g}, {north:.6g}, which are no degrees; "
            "write the file in WGS 84, longitude first."
        )
    broken = ~shapely.is_valid(shapes)
    shapes[broken] = shapely.make_valid(shapes[broken])
    shapely.prepare(shapes)
    return Polygons(np.array(names, dtype=object), shapes, path.name, key)


def _features(document: Any, where: str) -> list[dict[str, Any]]:
    """Features that have a geometry."""
    if not isinstance(document, dict) or document.get("type") not in ("FeatureCollection", "Feature"):
        raise UsageError(f"{where}: this is no collection of GeoJSON features; regions need polygons with a name each.")
    declared = str(((document.get("crs") or {}).get("properties") or {}).get("name", ""))
    if declared and not any(word in declared.replace(" ", "").upper() for word in WGS84):
        raise UsageError(f"{where}: it is in {declared}; write it in WGS 84 (EPSG:4326), longitude first.")
    found = document.get("features", []) if document["type"] == "FeatureCollection" else [document]
    if not isinstance(found, list):
        raise UsageError(f"{where}: 'features' must be a list.")
    features = [f for f in found if isinstance(f, dict) and isinstance(f.get("geometry"), dict)]
    if not features:
        raise UsageError(f"{where}: it holds no polygon.")
    return features


def _text(value: Any) -> str:
    """A name as text; empty where it is none."""
    return "" if value is None or isinstance(value, (dict, list, bool)) else " ".join(str(value).split())


def _name_property(features: list[dict[str, Any]], where: str) -> str:
    """The property that names every polygon."""
    first = features[0].get("properties") or {}
    full = [key for key in first if all(_text((f.get("properties") or {}).get(key)) for f in features)]
    folded = {key.casefold(): key for key in full}
    for word in NAME_WORDS:
        if word in folded:
            return folded[word]
    worded = [key for key in full if isinstance(first[key], str)]
    if len(worded) == 1:
        return worded[0]
    raise UsageError(
        f"{where}: which property names a region? It has {sorted(map(str, first)) or 'none'}; write in the settings "
        'file [regions] file = "..." and name = "the property".'
    )


def _name(feature: dict[str, Any], key: str, place: int, where: str) -> str:
    properties = feature.get("properties") or {}
    found = _text(properties.get(key))
    if not found:
        raise UsageError(f"{where}: polygon {place} has no '{key}'; its properties are {sorted(map(str, properties))}.")
    return found
