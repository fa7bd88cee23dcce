"""Replacement over the installed base: looks across wells by cohort, of a region, use and decade of completion.

The clock of a string starts at the newest recorded pump work, deepening or completion, whichever is the latest;
what happened since without a record is followed as a renewal process (``hazards``): plastic and stainless strings
are renewed like for like, galvanised ones in what was usual in the year. Where no date is known the
years of the region stand in, else those of the area, else of all wells, else a declared age.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import rng, schema
from pipeline.demand import coverage, hazards
from pipeline.demand.hazards import Floats, Strings
from pipeline.demand.replacement_cohorts import COHORT, KEYS, cohorts, dated
from pipeline.errors import PipelineError
from pipeline.settings import Settings

__all__ = ["KEYS", "RATES", "Told", "by_draw", "cohorts", "dated", "rates"]

MATERIALS = ("pe", "pvc", "pex", "stainless", "galvanised")
STEEL = ("galvanised", "stainless")
RATES = [*COHORT, "family_code", "year", "draw", "cause_code", "events_fraction", "share_pipe_fraction",
         "share_goods_fraction"]  # fmt: skip
OLDEST_YEARS = 80  # strings older than that are taken to be so old
_Z10 = 1.2815515655446004


@dataclass(frozen=True)
class Believed:
    """One value of each declared practice for one draw."""

    settings: Settings
    draw: int

    def between(self, name: str, low: float, base: float, high: float) -> float:
        """A value within its band; its tenth and ninetieth percentile are met at low and high."""
        z = float(rng.normal(self.settings.seed, "replacement/" + name, rng.keys(["all"]), self.draw)[0])
        return max(base + (z * (base - low) if z < 0 else z * (high - base)) / _Z10, 0.0)

    def value(self, name: str) -> float:
        """A practice value; lives on the log scale, so that they stay above nought."""
        band = self.settings.practice[name]
        if band.low > 0:
            low, base, high = np.log([band.low, band.base, band.high])
            z = float(rng.normal(self.settings.seed, "replacement/" + name, rng.keys(["all"]), self.draw)[0])
            return float(np.exp(base + (z * (base - low) if z < 0 else z * (high - base)) / _Z10))
        return self.between(name, band.low, band.base, band.high)

    def share(self, name: str) -> float:
        """A practice value that is a share."""
        return min(self.value(name), 1.0)


def installed_shares(years: NDArray[np.integer], believed: Believed, steel_duty: bool) -> Floats:
    """Share of each of MATERIALS among the strings put in in each year (materials, years), from pipe_history.csv.

    ``steel_duty``: of wells for which steel is the choice today, which steel served before too.
    """
    found: dict[str, Floats] = {}
    for family in ("galvanised", "stainless", "pe"):
        rows = sorted((r for r in schema.rows("pipe_history") if r["family_code"] == family),
                      key=lambda r: int(r["installed_from"]))  # fmt: skip
        if not rows:
            raise PipelineError(f"pipe_history.csv has no row of {family}.")
        starts = np.array([int(r["installed_from"]) for r in rows])
        drawn = [believed.between(f"history/{family}", *(float(r[f"share_{end}"]) for end in ("low", "base", "high")))
                 for r in rows]  # fmt: skip
        place = np.maximum(np.searchsorted(starts, years, side="right") - 1, 0)
        found[family] = np.clip(np.array(drawn)[place], 0.0, 1.0)
    steel = np.maximum(found["galvanised"], believed.share("share_steel_old_duty") if steel_duty else 0.0)
    stainless = np.minimum(found["stainless"], 1.0 - steel)
    plastic = 1.0 - steel - stainless
    out = {"pe": plastic * found["pe"], "pvc": plastic * (1.0 - found["pe"]), "galvanised": steel,
           "stainless": stainless}  # fmt: skip
    return np.stack([out.get(name, np.zeros(len(years))) for name in MATERIALS])


def strings(years: NDArray[np.integer], believed: Believed, acid: bool, steel_duty: bool) -> Strings:
    """Hazards of one draw in acid or neutral water."""
    life = {name: believed.value(f"life_{name}") for name in MATERIALS}
    if acid:
        life["galvanised"] = believed.value("life_galvanised_acid")
    shape = believed.value("shape_hazard_pipe")
    age = np.arange(hazards.AGES_PIPE, dtype=float) + 1.0
    young, old = (believed.share(f"share_pipe_pull_steel_{end}") for end in ("young", "old"))
    turn = [believed.value("age_steel_young"), believed.value("age_steel_old")]
    renewed: dict[str, float | Floats] = {
        "pe": believed.share("share_pipe_pull_pe"), "pex": believed.share("share_pipe_pull_pe"),
        "pvc": believed.share("share_pipe_pull_pvc"), "stainless": believed.share("share_pipe_pull_stainless"),
        "galvanised": np.interp(age, turn, [young, max(old, young)]),
    }  # fmt: skip
    return Strings(
        hazards.yearly_chances(
            hazards.AGES_PUMP, believed.value("interval_pull"), believed.value("shape_hazard_pump")
        ),
        np.stack([hazards.yearly_chances(hazards.AGES_PIPE, life[name], shape) for name in MATERIALS]),
        np.stack([renewed[name] * np.ones_like(age) for name in MATERIALS]),
        installed_shares(years, believed, steel_duty), np.array([name == "galvanised" for name in MATERIALS]),
        believed.share("share_pump_with_pipe"),
        believed.share("share_goods_pull"), believed.share("share_goods_failure"),
        believed.share("share_pulls_recorded"),
    )  # fmt: skip


def _by_kind(years: NDArray[np.integer], ahead: int, believed: Believed, steel_duty: bool) -> Floats:
    """Needs (years, materials + 1, waters, ahead, 3): the last material is 'not recorded', waters "", neutral, acid."""
    waters = []
    for acid in (False, True):
        # in acid water nobody keeps steel: what served there before is what served everywhere
        held = strings(years, believed, acid, steel_duty and not acid)
        known = hazards.needs(held, ahead)
        mixed = np.einsum("my,ymaj->yaj", held.installed, known)
        waters.append(np.concatenate([known, mixed[:, None]], axis=1))
    share = believed.share("share_corrosive_unknown")
    return np.stack([(1.0 - share) * waters[0] + share * waters[1], *waters], axis=2)


def _region_keys(rows: pd.DataFrame) -> NDArray[np.uint64]:
    area, region = (rows[name].astype(object).fillna("").astype(str) for name in ("area_code", "region_code"))
    return rng.keys(list(area + "\x1f" + region))


@dataclass
class Told:
    """Needs of every cohort in every draw, before they are put in rows.

    Attributes
    ----------
    named : DataFrame of COHORT, in order
    wells_milli : ndarray (cohorts)
    now, ahead : int
        Year of the run and years told after it.
    needs : list over draws of {whether steel is bought: ndarray (cohorts, years, 3)}
        Events, events that take the pipe, and goods, a well of the cohort.
    missing : ndarray (draws, cohorts)
        Household wells without a record, as a share of those with one.
    brought : ndarray (draws, cohorts)
        Share of the wells brought back to work in each of the first ``span`` years.
    """

    named: pd.DataFrame
    wells_milli: Floats
    now: int
    ahead: int
    needs: list[dict[bool, Floats]]
    missing: Floats
    brought: Floats
    span: int

    def causes(self) -> list[tuple[str, Callable[[int, bool], Floats]]]:
        """Each cause with its needs (cohorts, years, 3) of a draw."""

        def unrecorded(draw: int, steel: bool) -> Floats:
            return self.needs[draw][steel] * self.missing[draw][:, None, None]

        def rehabilitated(draw: int, steel: bool) -> Floats:
            out = np.zeros((len(self.named), self.ahead, 3))
            out[:, : min(self.span, self.ahead)] = self.brought[draw][:, None, None]
            return out

        found: list[tuple[str, Callable[[int, bool], Floats]]]
        found = [("replaced", lambda draw, steel: self.needs[draw][steel])]
        found += [("unrecorded", unrecorded)] if (self.missing > 0).any() else []
        return [*found, ("rehabilitated", rehabilitated)]


def by_draw(found: pd.DataFrame, settings: Settings, as_of: str, steel: bool = True) -> Told:
    """Needs of every cohort of :func:`cohorts` in every draw; ``as_of`` must tell a year."""
    ahead, draws = max(int(settings.base("years_forecast")), 1), max(int(settings.draws), 1)
    now = int(as_of[:4])
    rows = dated(found, settings, now)
    cohort = rows.groupby(COHORT, dropna=False, sort=True).ngroup().to_numpy()
    order = np.argsort(cohort, kind="stable")
    rows, cohort = rows.iloc[order].reset_index(drop=True), cohort[order]
    first = np.flatnonzero(np.append(True, cohort[1:] != cohort[:-1]))
    named = rows.loc[first, COHORT].reset_index(drop=True)
    weight = rows["wells_milli"].to_numpy(float)
    whole = np.add.reduceat(weight, first)
    works = (rows["state_code"] != "not_working").to_numpy()
    idle = np.add.reduceat(np.where(works, 0.0, weight), first)
    start = np.clip(rows["start_year"].to_numpy(np.int64), now - OLDEST_YEARS, now)
    years = np.arange(now - OLDEST_YEARS, now + ahead + 1)
    material = pd.Index([*MATERIALS, ""]).get_indexer(pd.Index(rows["material_code"]))
    water = pd.Index(["", "neutral", "acid"]).get_indexer(pd.Index(rows["water_code"]))
    kind = ((start - years[0]) * (len(MATERIALS) + 1) + material) * 3 + water
    kinds, place = np.unique(kind, return_inverse=True)
    age = (now + np.arange(1, ahead + 1))[None, :] - start[:, None] - 0.5
    share = np.divide(weight * works, whole[cohort], out=np.zeros(len(weight)), where=whole[cohort] > 0)
    keys = _region_keys(named)
    sigma = settings.base("spread_hazard_region")
    factor = coverage.of_cohorts(named, found, settings, now)
    missing = np.zeros((draws, len(named)))

    def one(draw: int) -> dict[bool, Floats]:
        believed = Believed(settings, draw)
        used = hazards.survival(age, believed.value("life_well"), believed.value("shape_life_well"))
        own = np.exp(sigma * rng.normal(settings.seed, "region/replacement", keys, draw) - sigma * sigma / 2.0)
        out = {}
        for duty in (False, True) if steel else (False,):
            table = _by_kind(years, ahead, believed, duty).reshape(-1, ahead, 3)[kinds]
            given = table[place] * (share[:, None] * used)[:, :, None]
            out[duty] = np.add.reduceat(given, first, axis=0) * own[:, None, None]
        missing[draw] = coverage.drawn(factor, keys, settings, draw) - 1.0
        return out

    one(0)  # compiled once, before the threads
    with ThreadPoolExecutor(max(settings.threads, 1)) as pool:
        told = list(pool.map(one, range(draws)))
    part = np.divide(idle, whole, out=np.zeros(len(idle)), where=whole > 0)
    back = np.array([Believed(settings, draw).share("share_rehabilitated") for draw in range(draws)])
    span = max(int(settings.base("years_rehabilitation")), 1)
    return Told(named, whole, now, ahead, told, missing, back[:, None] * part[None, :] / span, span)


def rates(
    found: pd.DataFrame, settings: Settings, as_of: str, families: tuple[str, ...] | None = None
) -> pd.DataFrame:
    """Replacements and rehabilitations a well, by cohort, family on sale, year and draw.

    Parameters
    ----------
    found : DataFrame
        From :func:`cohorts`.
    settings : Settings
        Practice values, draws and seed.
    as_of : str
        Date of the run; the years told are those after it.
    families : tuple of str, optional
        Families for which rows are wanted; all of codes/family.csv by default. A row of family "" is for goods that
        belong to no family.

    Returns
    -------
    DataFrame
        area_code, region_code, use_code, completed_decade, family_code (of the pipe that is bought), year, draw,
        cause_code, events_fraction (events a well of the cohort, of all its wells), share_pipe_fraction and
        share_goods_fraction (share of the pipe and of the other goods of a string that an event takes).
        ``replaced`` counts wells not recorded as out of work, by how likely they are still used at their age;
        ``rehabilitated`` those that are; ``unrecorded`` replacements of household wells that the records lack, where
        the user told of households (``coverage``): without that cause the sums are those of the records. Rows
        without events are left out.

    Notes
    -----
    Multiplied with the goods of a cohort of the same draw they give its demand. Believed values are shared by all
    wells of a draw; a region has one multiplier a draw of its own (``spread_hazard_region``).
    """
    wanted = ("", *(schema.codes("family") if families is None else families))
    if found.empty or not as_of:
        return pd.DataFrame({name: [] for name in RATES})
    told = by_draw(found, settings, as_of, any(f in STEEL for f in wanted))
    draws = range(len(told.needs))
    frames = [
        _long(told.named, np.stack([needs(draw, family in STEEL) for draw in draws]), family, told.now, cause)
        for cause, needs in told.causes() for family in wanted
    ]  # fmt: skip
    return pd.concat(frames, ignore_index=True)[RATES]


def _long(named: pd.DataFrame, told: Floats, family: str, now: int, cause: str) -> pd.DataFrame:
    """Rows of one family and cause from (draws, cohorts, years, 3)."""
    draw, place, year = np.nonzero(told[..., 0] > 0.0)
    events, pipe, goods = (told[draw, place, year, k] for k in range(3))
    out = named.take(place).reset_index(drop=True)
    return out.assign(
        family_code=family, year=now + 1 + year, draw=draw, cause_code=cause, events_fraction=events,
        share_pipe_fraction=np.minimum(pipe / events, 1.0), share_goods_fraction=np.minimum(goods / events, 1.0),
    )  # fmt: skip
