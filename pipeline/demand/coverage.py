"""Records found against the wells that should be there: looks across all wells of a region.

Old wells are the ones that registers lack. How many are missing is told only by what the user gives: households on a
well of their own, by region. Without such a file nothing is added, and the table says that it is not known.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import io, rng, schema, words
from pipeline.demand import hazards
from pipeline.demand.replacement_cohorts import COHORT, dated
from pipeline.errors import UsageError
from pipeline.settings import Settings

Floats = NDArray[np.float64]
PLACE = ["area_code", "region_code"]
LOWEST, HIGHEST = 1.0, 10.0  # a factor beyond ten says that records and households are not of the same thing
_Z10 = 1.2815515655446004


def _as_text(frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of places as text, also where every one is missing."""
    return frame.astype({name: object for name in PLACE})


def _folded(names: pd.Series) -> pd.Series:
    return names.fillna("").astype(str).str.strip().str.casefold()


def households(path: Path) -> pd.DataFrame:
    """Households on a well of their own by region, from the user's file.

    Parameters
    ----------
    path : Path
        CSV with region_code, source, year and either households_with_well, or households and share_with_well (0 to
        1); area_code and completed_decade where wanted. A row without a decade speaks of all wells of the region.

    Returns
    -------
    DataFrame
        area_code ("" where not given), region_code, completed_decade, households, source, year.

    Raises
    ------
    UsageError
        With every fault of the file, by line and column.
    """
    try:
        rows = schema.read_rows(path)
    except (OSError, UnicodeDecodeError) as error:
        told = getattr(error, "strerror", None) or "it is not text in UTF-8"
        raise UsageError(f"Households file {path.name}: {told}.") from None
    rows = [{str(k).lstrip("\ufeff").strip(): (v or "").strip() if isinstance(v, str) else "" for k, v in row.items()}
            for row in rows]  # fmt: skip
    if not rows:
        raise UsageError(f"Households file {path.name}: no rows; the first line names the columns.")
    found = pd.DataFrame(rows)
    lacking = [name for name in ("region_code", "source", "year") if name not in found]
    by_share = {"households", "share_with_well"} <= set(found)
    if "households_with_well" not in found and not by_share:
        lacking.append("households_with_well (or households and share_with_well)")
    if lacking:
        raise UsageError(f"Households file {path.name}: column {', '.join(lacking)} is missing.")
    line = np.arange(len(found)) + 2
    faults: list[str] = []

    def number(name: str, most: float) -> Floats:
        values = pd.to_numeric(found[name].str.replace(",", ""), errors="coerce").to_numpy(float)
        bad = ~((values >= 0) & (values <= most))
        span = "from 0 to 1" if most == 1 else "of nought or more"
        faults.extend(f"line {n}: {name} '{t}' is no number {span}"
                      for n, t in zip(line[bad], found[name][bad], strict=True))  # fmt: skip
        return values

    if "households_with_well" in found:
        count = number("households_with_well", 1e9)
    else:
        count = number("households", 1e9) * number("share_with_well", 1.0)
    year = pd.to_numeric(found["year"], errors="coerce")
    faults += [f"line {n}: year '{t}' is no year" for n, t in
               zip(line[~year.between(1900, 2100)], found["year"][~year.between(1900, 2100)], strict=True)]  # fmt: skip
    faults += [f"line {n}: region_code is empty" for n in line[(found["region_code"] == "").to_numpy()]]
    faults += [f"line {n}: source is empty; say where the number comes from"
               for n in line[(found["source"] == "").to_numpy()]]  # fmt: skip
    decade = pd.to_numeric(found.get("completed_decade", pd.Series([""] * len(found))), errors="coerce")
    out = pd.DataFrame({
        "area_code": found.get("area_code", pd.Series([""] * len(found))), "region_code": found["region_code"],
        "completed_decade": decade.floordiv(10).mul(10).astype("Int64"), "households": count,
        "source": found["source"], "year": year,
    })  # fmt: skip
    twice = pd.DataFrame({"a": _folded(out["area_code"]), "r": _folded(out["region_code"]),
                          "d": out["completed_decade"]}).duplicated()  # fmt: skip
    faults += [f"line {n}: '{t}' stands twice" for n, t in zip(line[twice], found["region_code"][twice], strict=True)]
    if faults:
        raise UsageError(f"Households file {path.name}: {'; '.join(faults[:10])}. Correct the file.")
    return out


def active(found: pd.DataFrame, settings: Settings, as_of_year: int) -> pd.DataFrame:
    """Recorded household wells likely still in use, by area, region and decade of completion.

    Parameters
    ----------
    found : DataFrame
        Cohorts, from ``replacement.cohorts``.
    """
    own = found[(found["use_code"] == "domestic") & (found["state_code"] == "in_use")]
    rows = dated(own, settings, as_of_year) if len(own) else own.assign(wells_milli=0.0)
    age = as_of_year - rows["start_year"].astype(float)
    used = hazards.survival(age, settings.base("life_well"), settings.base("shape_life_well"))
    rows = rows.assign(wells=rows["wells_milli"] * used / 1000.0)
    return rows.groupby([*PLACE, "completed_decade"], dropna=False, as_index=False).agg(wells=("wells", "sum"))


def factors(found: pd.DataFrame, settings: Settings, as_of_year: int) -> pd.DataFrame:
    """Households on a well over recorded wells in use, by region and, where the file tells it, decade.

    Parameters
    ----------
    found : DataFrame
        Cohorts.

    Returns
    -------
    DataFrame
        area_code, region_code, completed_decade (missing: all), households, wells, factor (clipped from 1 to 10),
        ratio (not clipped), source, year; no rows where ``settings.households`` is not given.

    Raises
    ------
    UsageError
        When the file is not usable, or names a region that the records do not hold.
    """
    columns = [*PLACE, "completed_decade", "households", "wells", "factor", "ratio", "source", "year"]
    if settings.households is None:
        return pd.DataFrame({name: [] for name in columns})
    given = households(settings.households)
    wells = active(found, settings, as_of_year)
    places = found[PLACE].drop_duplicates().assign(_r=lambda f: _folded(f["region_code"]),
                                                   _a=lambda f: _folded(f["area_code"]))  # fmt: skip
    given = given.assign(_r=_folded(given["region_code"]), _a=_folded(given["area_code"]))
    joined = given.drop(columns=PLACE).merge(places, on="_r", suffixes=("", "_of"))
    joined = joined[(joined["_a"] == "") | (joined["_a"] == joined["_a_of"])]
    lost = sorted(set(given["region_code"][~given["_r"].isin(joined["_r"])]))
    many = joined[joined["_a"] == ""].drop_duplicates(["_r", "_a_of"]).groupby("_r").size()
    if lost or (many > 1).any():
        faults = [f"'{name}' is no region of these records" for name in lost[:10]]
        faults += [f"'{name}' lies in several areas; add the column area_code" for name in many.index[many > 1][:10]]
        raise UsageError(f"Households file {settings.households.name}: {'; '.join(faults)}.")
    whole = wells.groupby(PLACE, dropna=False, as_index=False)["wells"].sum().assign(completed_decade=pd.NA)
    base = pd.concat([wells[wells["completed_decade"].notna()], whole], ignore_index=True)
    base["completed_decade"] = base["completed_decade"].astype("Int64")
    out = joined.merge(base, on=[*PLACE, "completed_decade"], how="left")
    out["wells"] = out["wells"].fillna(0.0)
    count, held = out["households"].to_numpy(float), out["wells"].to_numpy(float)
    out["ratio"] = np.where(held > 0, count / np.where(held > 0, held, 1.0), np.where(count > 0, np.inf, 1.0))
    out["factor"] = np.clip(out["ratio"].to_numpy(float), LOWEST, HIGHEST)
    return out[columns].reset_index(drop=True)


def of_cohorts(named: pd.DataFrame, found: pd.DataFrame, settings: Settings, as_of_year: int) -> Floats:
    """Factor of each cohort of ``named`` (area, region, use, decade): 1 for other than household wells."""
    known = factors(found, settings, as_of_year)
    if known.empty:
        return np.ones(len(named))
    exact = known[known["completed_decade"].notna()]
    whole = known[known["completed_decade"].isna()]
    fine = named[COHORT].merge(exact[[*PLACE, "completed_decade", "factor"]].astype({"completed_decade": "Int64"}),
                               on=[*PLACE, "completed_decade"], how="left")["factor"]  # fmt: skip
    rough = named[PLACE].merge(whole[[*PLACE, "factor"]], on=PLACE, how="left")["factor"]
    out = fine.fillna(rough).fillna(1.0).to_numpy(float)
    return np.where((named["use_code"] == "domestic").to_numpy(), out, 1.0)


def drawn(factor: Floats, keys: NDArray[np.uint64], settings: Settings, draw: int) -> Floats:
    """Factors of one draw: households and records in use are themselves uncertain (``spread_coverage``)."""
    band = settings.practice["spread_coverage"]
    z = rng.normal(settings.seed, "region/coverage", keys, draw)
    low, high = np.log(band.low), np.log(band.high)
    moved = factor * np.exp(np.where(z < 0, -z * low, z * high) / _Z10)
    return np.where(factor > LOWEST, np.clip(moved, LOWEST, HIGHEST), LOWEST)


def coverage(folder: Path, found: pd.DataFrame, settings: Settings, as_of: str) -> pd.DataFrame:
    """The table ``coverage``: records found and wells estimated by region.

    Parameters
    ----------
    folder : Path
        Run folder with the table ``wells``.
    found : DataFrame
        Cohorts of the run.
    """
    import duckdb

    sql = (Path(__file__).parent / "coverage.sql").read_text(encoding="utf-8")
    with duckdb.connect(":memory:", config={"threads": max(settings.threads, 1)}) as base:
        base.register("wells", base.read_parquet([str(path) for path in io.parts("wells", folder)]))
        out = base.execute(sql).df()
    year = int(as_of[:4]) if as_of else 0
    known = factors(found, settings, year) if year else factors(found.iloc[:0], Settings(), 0)
    band = settings.practice["spread_coverage"]
    whole = known[known["completed_decade"].isna()]
    if len(known):
        # a region told by decade: households over wells of all its decades
        fine = known[known["completed_decade"].notna()].groupby(PLACE, dropna=False, as_index=False).agg(
            households=("households", "sum"), source=("source", "first"), year=("year", "first"))
        fine = fine.merge(whole[PLACE].assign(_there=True), on=PLACE, how="left")
        whole = pd.concat([whole, fine[fine["_there"].isna()].drop(columns="_there")], ignore_index=True)
    held = None
    if year:
        held = active(found, settings, year).groupby(PLACE, dropna=False, as_index=False).agg(wells=("wells", "sum"))
    out = _as_text(out)
    out = out.merge(_as_text(held), on=PLACE, how="left") if held is not None else out.assign(wells=np.nan)
    out = out.merge(_as_text(whole[[*PLACE, "households", "source", "year"]]), on=PLACE, how="left")
    told = out["households"].notna().to_numpy()
    own = out["wells"].fillna(0.0).to_numpy(float)
    ratio = out["households"].to_numpy(float) / np.where(own > 0, own, np.nan)
    ratio = np.where(told & ~(own > 0), HIGHEST, ratio)
    factor = np.where(told, np.clip(ratio, LOWEST, HIGHEST), 1.0)
    ends = {"": factor, "_low": np.where(factor > 1, np.clip(factor * band.low, LOWEST, HIGHEST), 1.0),
            "_high": np.where(told, np.clip(factor * band.high, LOWEST, HIGHEST), np.nan)}  # fmt: skip
    for end, value in ends.items():
        out[f"factor_coverage{end}"] = value
        out[f"wells_estimated_count{end}"] = out["wells_count"] + own * (value - 1.0)
    out["wells_active_count"], out["households_count"] = own, out["households"]
    past = told & ~((ratio >= LOWEST) & (ratio <= HIGHEST))
    stated = pd.Series([f"{y:.0f}" if y == y else "" for y in out["year"].astype(float)], out.index, dtype=object)
    source = out["source"].astype(object).fillna("") + ", " + stated
    out["detail"] = np.where(told, np.where(past, words.say("coverage.clipped"), words.say("coverage.given")) + " "
                             + source, words.say("coverage.unknown"))  # fmt: skip
    return out[[c.field.name for c in schema.table("coverage")]]
