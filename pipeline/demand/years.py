"""Demand by year and cause: goods of the draws times what each year asks of them; looks across wells, by region.

The draws hold the goods that equip every well of a region once. What a year takes of them is a factor for each
region, family of pipe, cause and draw: events a well from the hazards of its cohorts (``replacement``), each cohort
counting by its share of the family's pipe in the region; or new wells, each taking what the recent wells of its region
and use take.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import io, schema, words
from pipeline.demand import region_key_sql, replacement
from pipeline.demand.replacement import STEEL
from pipeline.demand.replacement_cohorts import COHORT
from pipeline.settings import Settings

Floats = NDArray[np.float64]
FAMILIES = ("", "pe", "pvc", "pex", "galvanised", "stainless")
CAUSES = ("new", "replaced", "unrecorded", "rehabilitated")
_FACTORS = ["place", "base", "cause", "year", "draw", "family", "pipe", "goods", "always", "seldom"]
_PLACE = ["area_code", "region_code"]
# keys without a single name would come as numbers
_NAMED: Any = {"area_code": object, "region_code": object, "use_code": object}


def by_year(
    folder: Path, goods: pd.DataFrame, items: pd.DataFrame, settings: Settings, as_of: str, new: pd.DataFrame,
    currency: str | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Goods by year and cause, and what their bands are made of.

    Parameters
    ----------
    folder : Path
        Run folder with the tables ``wells`` and ``selection``.
    goods : DataFrame
        From materials.settled: area_code, region_code, item_id, draw, wells_milli, pieces_milli, length_mm, mass_g,
        cost_cents.
    items : DataFrame
        item_id, family ("" for goods of no family), at_pull (pipe, share, always, seldom).
    settings : Settings
    as_of : str
        Date of the run; without one nothing is told.
    new : DataFrame
        New wells: area_code, region_code, use_code, year, draw, wells_milli.
    currency : str, optional

    Returns
    -------
    demand : DataFrame
        Rows of the table ``demand`` with a year; cause ``every`` is the sum of the causes.
    parts : DataFrame
        Rows of the table ``band_parts``.
    """
    names = [c.field.name for c in schema.table("demand")]
    parts_of = [c.field.name for c in schema.table("band_parts")]
    if not as_of or goods.empty:
        return pd.DataFrame(columns=names), pd.DataFrame(columns=parts_of)
    now = int(as_of[:4])
    material = _material(folder, settings, now)
    places = _places(pd.concat([goods[_PLACE], material[_PLACE]]))
    factors = [
        _replacements(replacement.by_draw(replacement.cohorts(folder, settings), settings, as_of), material, places,
                      settings),
        _new(new, material, places, settings),
    ]  # fmt: skip
    table = pd.concat([f for f in factors if len(f)], ignore_index=True)
    return _summed(table, goods, items, places, settings, currency)


def _material(folder: Path, settings: Settings, now: int) -> pd.DataFrame:
    """Wells and length of pipe by region, use, decade and family (NaN: no pipe)."""
    import duckdb

    sql = (Path(__file__).parent / "material.sql").read_text(encoding="utf-8")
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        for name in ("wells", "selection"):
            base.register(name, base.read_parquet([str(path) for path in io.parts(name, folder)]))
        found = base.execute(sql, {"since": now - int(settings.base("years_recent"))}).df()
    names = dict.fromkeys(("area_code", "region_code", "use_code", "family_code"), object)
    return found.astype({"completed_decade": "Int64", **names})


def _places(rows: pd.DataFrame) -> pd.DataFrame:
    """Regions in order: area_code, region_code, place (their number) and area (the number of the area)."""
    named = rows.astype(object).where(rows.notna(), None)
    found = named.drop_duplicates().sort_values(_PLACE, na_position="last", ignore_index=True)
    area, _ = pd.factorize(found["area_code"], use_na_sentinel=False)
    return found.assign(place=np.arange(len(found)), area=area)


def _number(rows: pd.DataFrame, places: pd.DataFrame) -> NDArray[np.int64]:
    """Number of the region of each row."""
    index = pd.MultiIndex.from_frame(places[_PLACE].astype(object).fillna(""))
    return index.get_indexer(pd.MultiIndex.from_frame(rows[_PLACE].astype(object).fillna("")))


def _replacements(
    told: replacement.Told, material: pd.DataFrame, places: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Factors of replacement, of every region, family, year and draw: means over cohorts, weighted by their pipe."""
    named = told.named
    region = _number(named, places)
    first = np.flatnonzero(np.append(True, region[1:] != region[:-1]))
    weights = [_shares(family, material, named, told.wells_milli, first, region) for family in FAMILIES]
    seldom = settings.base("share_wellhead_pull")
    rows = []
    for cause, needs in told.causes():
        for draw in range(len(told.needs)):
            for number, family in enumerate(FAMILIES):
                mean = np.add.reduceat(needs(draw, family in STEEL) * weights[number][:, None, None], first, axis=0)
                place, year = np.nonzero(mean[..., 0] > 0)
                events, pipe, goods = (mean[place, year, k] for k in range(3))
                rows.append(pd.DataFrame({
                    "place": region[first][place], "base": region[first][place], "cause": CAUSES.index(cause),
                    "year": told.now + 1 + year, "draw": draw, "family": number, "pipe": pipe, "goods": goods,
                    "always": events, "seldom": events if cause == "rehabilitated" else events * seldom,
                }))  # fmt: skip
    return pd.concat(rows, ignore_index=True)[_FACTORS]


def _shares(
    family: str, material: pd.DataFrame, named: pd.DataFrame, wells: Floats, first: NDArray[np.int64],
    region: NDArray[np.int64],
) -> Floats:  # fmt: skip
    """Share of each cohort in its region's pipe of a family; in its wells where the region has no such pipe."""
    value = "length_mm" if family else "wells_milli"
    own = material[material["family_code"] == family] if family else material[material["family_code"].notna()]
    sums = own.groupby(COHORT, dropna=False)[value].sum().reset_index().astype(_NAMED)
    ordered = named.astype(_NAMED).assign(order=np.arange(len(named)))
    held = ordered.merge(sums, on=COHORT, how="left").sort_values("order")
    amount = held[value].fillna(0.0).to_numpy(float)
    count = np.diff(np.append(first, len(region)))
    total, every = (np.repeat(np.add.reduceat(x, first), count) for x in (amount, wells))
    by_wells = np.divide(wells, every, out=np.zeros(len(wells)), where=every > 0)
    return np.where(total > 0, np.divide(amount, total, out=np.zeros(len(wells)), where=total > 0), by_wells)


def _new(new: pd.DataFrame, material: pd.DataFrame, places: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Factors of new wells: how often each takes what the goods of its base hold, by family."""
    if new.empty:
        return pd.DataFrame(columns=_FACTORS)
    least = settings.base("wells_recent_least") * 1000.0
    shares = _each_takes(material.assign(place=_number(material, places)), places, least)
    named = new.assign(place=_number(new, places)).astype({"use_code": object})
    rows = named.merge(shares.astype({"use_code": object}), on=["place", "use_code"], how="left")
    rows = rows[rows["base"].notna()]
    wells = rows["wells_milli"].to_numpy(float) / 1000.0
    out = rows.assign(cause=CAUSES.index("new"), pipe=wells * rows["pipe"], goods=wells * rows["goods"])
    keys = ["place", "base", "cause", "year", "draw", "family"]
    found = out.groupby(keys, as_index=False)[["pipe", "goods"]].sum()
    found["base"] = found["base"].astype(np.int64)
    return found.assign(always=found["goods"], seldom=found["goods"])[_FACTORS]


def _each_takes(material: pd.DataFrame, places: pd.DataFrame, least: float) -> pd.DataFrame:
    """What one new well of a region and use takes of the goods of its base, by family.

    Recent wells of the region and use stand for it where there are enough; else those of the region, else of the area
    (whose goods are then the base), else every well of the region.
    """
    area_of = places.set_index("place")["area"]
    material = material.assign(area=area_of.loc[material["place"]].to_numpy())
    uses = material[["place", "area", "use_code"]].drop_duplicates()
    recent = material[material["is_recent"]]
    ladder = [
        (["place", "use_code"], recent, False), (["place"], recent, False), (["area"], recent, True),
        (["place"], material, False),
    ]  # fmt: skip
    out, left = [], uses
    for keys, rows, by_area in ladder:
        count = rows.groupby(keys, dropna=False)["wells_milli"].sum()
        enough = count[count >= (least if rows is recent else 1.0)].rename("n").reset_index()
        if "use_code" in keys:
            enough = enough.astype({"use_code": object})
        here = left.merge(enough, on=keys)
        left = left.merge(enough[keys], on=keys, how="left", indicator=True)
        left = left[left["_merge"] == "left_only"].drop(columns="_merge")
        if here.empty:
            continue
        base_keys = ["area"] if by_area else ["place"]
        for number, family in enumerate(FAMILIES):
            own = rows[rows["family_code"] == family] if family else rows[rows["family_code"].notna()]
            every = material[material["family_code"] == family] if family else material[material["family_code"].notna()]
            sums = ["length_mm", "wells_milli"]
            own_sums = own.groupby(keys, dropna=False)[sums].sum().reset_index()
            if "use_code" in keys:
                own_sums = own_sums.astype({"use_code": object})
            took = here.merge(own_sums, on=keys, how="left")
            of = took.merge(every.groupby(base_keys)[sums].sum().reset_index(), on=base_keys, how="left",
                            suffixes=("", "_base"))  # fmt: skip
            whole = here.merge(material.groupby(base_keys)["wells_milli"].sum().rename("all").reset_index(),
                               on=base_keys)["all"].to_numpy(float)  # fmt: skip
            even = 1000.0 / whole  # a family met in the draws only: as among all wells
            pipe, goods = (
                _ratio(of[name], of["n"], of[f"{name}_base"], even) for name in ("length_mm", "wells_milli")
            )
            out.append(pd.DataFrame({
                "place": of["place"], "use_code": of["use_code"], "family": number,
                "base": len(places) + of["area"] if by_area else of["place"], "pipe": pipe, "goods": goods,
            }))  # fmt: skip
    return pd.concat(out, ignore_index=True)


def _ratio(took: pd.Series, wells_milli: pd.Series, base: pd.Series, even: Floats) -> Floats:
    """What one well takes as a share of the base; ``even`` where the base holds none of it."""
    whole = base.fillna(0.0).to_numpy(float)
    each = took.fillna(0.0).to_numpy(float) * 1000.0 / wells_milli.to_numpy(float)
    return np.where(whole > 0, np.divide(each, whole, out=np.zeros(len(whole)), where=whole > 0), even)


def _summed(
    factors: pd.DataFrame, goods: pd.DataFrame, items: pd.DataFrame, places: pd.DataFrame, settings: Settings,
    currency: str | None,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Sums, percentiles and the make-up of the bands, in DuckDB."""
    import duckdb

    draws = max(int(settings.draws), 1)
    numbers = pd.Index(items["item_id"])
    coded = goods.assign(place=_number(goods, places), item=numbers.get_indexer(pd.Index(goods["item_id"])))
    listed = pd.DataFrame({
        "item": np.arange(len(items)), "item_id": items["item_id"],
        "family": pd.Index(FAMILIES).get_indexer(pd.Index(items["family"])), "at_pull": items["at_pull"],
    })  # fmt: skip
    here = Path(__file__).parent
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1), "memory_limit": "1500MB"}) as base:
        base.execute(region_key_sql())
        base.register("factors", factors)
        base.register("items", listed)
        base.register("goods", coded.drop(columns=["item_id", *_PLACE]))
        base.register("named_places", places.astype({"area_code": "str", "region_code": "str"}))
        base.execute("CREATE TEMP TABLE places AS SELECT place, area, area_key(area_code) AS area_name,"
                     " region_key(area_code, region_code) AS region_name FROM named_places")  # fmt: skip
        base.execute((here / "years.sql").read_text(encoding="utf-8").replace("$places", str(len(places))))
        base.execute((here / "years_told.sql").read_text(encoding="utf-8").replace("$draws", str(draws)))
        causes = " ".join(f"WHEN {k} THEN '{cause}'" for k, cause in enumerate(CAUSES))
        told = base.execute(_told_sql(causes, draws), {"currency": currency, "all": words.say("place.all")}).df()
        parts = base.execute((here / "band_parts.sql").read_text(encoding="utf-8")
                             .replace("$draws", str(draws)).replace("$causes", causes),
                             {"all": words.say("place.all")}).df()  # fmt: skip
    return told, parts


def _told_sql(causes: str, draws: int) -> str:
    """Rows of ``demand``: expected values and percentiles of every level, cause, year and item."""
    kinds = {"pieces": ("pieces_milli", 1000), "length_m": ("length_mm", 1000), "mass_kg": ("mass_g", 1000),
             "cost": ("cost_cents", 100)}  # fmt: skip
    lists = ", ".join(
        f"sum({column})::DOUBLE / ({unit} * {draws}) AS {name}_expected, list({column}::DOUBLE) AS {name}_found,"
        f" count({column}) = count(*) AS {name}_whole"
        for name, (column, unit) in kinds.items()
    )
    shown = ", ".join(
        f"CASE WHEN {name}_whole THEN {name}_expected END AS {name}_expected, "
        + ", ".join(f"CASE WHEN {name}_whole THEN point_of({name}_found, {p / 100}) / {unit} END AS {name}_p{p}"
                    for p in (10, 50, 90))
        for name, (_, unit) in kinds.items()
    )
    return f"""
    WITH summed AS (
        SELECT level, member, cause, year, item, sum(wells_milli)::DOUBLE / (1000 * {draws}) AS wells_count, {lists}
        FROM of_levels GROUP BY level, member, cause, year, item
    )
    SELECT
        ['all', 'area', 'region'][level + 1] AS region_level,
        CASE level WHEN 0 THEN $all WHEN 1 THEN a.area_name ELSE p.region_name END AS region_code,
        year::BIGINT AS year, CASE cause {causes} ELSE 'every' END AS cause_code, item_id, wells_count, {shown},
        CASE WHEN cost_whole THEN $currency END AS currency
    FROM summed
    JOIN items USING (item)
    LEFT JOIN places AS p ON level = 2 AND p.place = member
    LEFT JOIN (SELECT DISTINCT area, area_name FROM places) AS a ON level = 1 AND a.area = member
    ORDER BY ALL
    """
