"""What may be published: families by region with sums, points counted on a grid. Nothing of a single well."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.public.suppress import Relation, hidden
from pipeline.report.facts import Facts
from pipeline.settings import Settings

_NONE = "none"


def families(facts: Facts, settings: Settings) -> pd.DataFrame:
    """Wells and length of pipe by region and family at every level, small counts hidden.

    Returns
    -------
    DataFrame
        region_level (all, area, region), area_code, region_code, family_code (missing for the sum of all
        families), wells_count, length_m; both missing and ``is_hidden`` true where they are not shown.
    """
    cells = facts.base.execute(
        "SELECT area_key(area_code) AS area, region_key(area_code, region_code) AS region,"
        f" coalesce(family_code, '{_NONE}') AS family, count(*) AS wells,"
        " coalesce(sum(round(length_drop_pipe_m * weight_inclusion_fraction * 1000)::BIGINT), 0) AS length_mm"
        " FROM selection GROUP BY ALL ORDER BY ALL"
    ).df()
    whole, relations = with_sums(cells)
    out = hidden(
        whole["wells"].to_numpy(np.int64), relations, int(settings.base("wells_public_least")),
        int(settings.base("width_public")),
    )  # fmt: skip
    wells = whole["wells"].astype("Int64").mask(out)
    length = (whole["length_mm"] / 1000).round().mask(out)
    # lengths of families would tell those of a hidden family by difference: wells without pipe have a known length
    length = length.where(whole["family"].isna())
    return pd.DataFrame({
        "region_level": whole["level"], "area_code": whole["area"], "region_code": whole["region"],
        "family_code": whole["family"], "wells_count": wells, "length_m": length, "is_hidden": out,
    })  # fmt: skip


def with_sums(cells: pd.DataFrame) -> tuple[pd.DataFrame, list[Relation]]:
    """Cells of (area, region, family) with all their sums, and what adds up to what.

    Parameters
    ----------
    cells : DataFrame
        area, region, family, wells, length_mm; each combination once.
    """
    numbers = ["wells", "length_mm"]
    parts = [
        cells.assign(level="region"),
        cells.groupby(["area", "region"], as_index=False)[numbers].sum().assign(level="region", family=None),
        cells.groupby(["area", "family"], as_index=False)[numbers].sum().assign(level="area", region=None),
        cells.groupby(["area"], as_index=False)[numbers].sum().assign(level="area", region=None, family=None),
        cells.groupby(["family"], as_index=False)[numbers].sum().assign(level="all", area=None, region=None),
        pd.DataFrame({**{n: [cells[n].sum()] for n in numbers}, "level": ["all"], "area": [None], "region": [None],
                      "family": [None]}),
    ]  # fmt: skip
    whole = pd.concat(parts, ignore_index=True)
    for name in ("area", "region", "family"):
        whole[name] = whole[name].astype(object).where(whole[name].notna(), None)
    keys = list(zip(whole["level"], whole["area"], whole["region"], whole["family"], strict=True))
    place = {key: k for k, key in enumerate(keys)}
    groups: dict[int, list[int]] = {}
    for k, (level, area, region, family) in enumerate(keys):
        ups: list[tuple[str, object, object, object]] = []
        if family is not None:
            ups.append((level, area, region, None))
        if level == "region":
            ups.append(("area", area, None, family))
        elif level == "area":
            ups.append(("all", None, None, family))
        for up in ups:
            groups.setdefault(place[up], []).append(k)
    relations: list[Relation] = []
    for total, below in groups.items():
        # a sum over families and a sum over regions are two statements
        level = whole["level"][total]
        same = [k for k in below if whole["level"][k] == level]
        other = [k for k in below if whole["level"][k] != level]
        relations += [(total, some) for some in (same, other) if some]
    return whole, relations


def grid(facts: Facts, settings: Settings) -> pd.DataFrame:
    """Wells counted on squares; squares with few wells are left out, and with a single one left out, one more.

    Returns
    -------
    DataFrame
        latitude_deg, longitude_deg of the middle of each square, wells_count. ``attrs``: ``side_deg``,
        ``hidden`` squares left out.

    Notes
    -----
    A square has a side of the declared degrees of latitude, and in longitude as many times that as keep it at
    least as wide as high (all squares of a row alike), so that no side is under the declared kilometre.
    """
    side, least = settings.base("side_public"), int(settings.base("wells_public_least"))
    points = facts.base.execute(
        "SELECT floor(latitude_deg / $side)::BIGINT AS r, latitude_deg AS lat, longitude_deg AS lon FROM wells"
        " WHERE latitude_deg BETWEEN -90 AND 90 AND longitude_deg BETWEEN -180 AND 180", {"side": side},
    ).df()
    middle = (points["r"] + 0.5) * side
    wide = side * np.ceil(1.0 / np.maximum(np.cos(np.radians(middle)), 0.02))
    column = np.floor(points["lon"] / wide)
    counts = (
        pd.DataFrame({"latitude_deg": middle, "longitude_deg": (column + 0.5) * wide})
        .groupby(["latitude_deg", "longitude_deg"], as_index=False).size().rename(columns={"size": "wells_count"})
    )  # fmt: skip
    number = counts["wells_count"].to_numpy(np.int64)
    few = number < least
    if few.sum() == 1 and (~few).any():
        few[int(np.argmin(np.where(few, np.iinfo(np.int64).max, number)))] = True
    shown = counts[~few].reset_index(drop=True)
    shown.attrs = {"side_deg": side, "hidden": int(few.sum())}
    return shown
