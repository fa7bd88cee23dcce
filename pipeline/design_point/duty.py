"""Duty flow: what the use asks, limited by what the well gives."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.design_point.bands import ASSUMED, DERIVED, RECORDED, Banded, Floats
from pipeline.design_point.comparable import BLOWN, recorded_depth
from pipeline.design_point.drawdown import is_pumped_test
from pipeline.physics import demand, well
from pipeline.settings import Band, Settings

# uses whose duty follows the tested yield rather than a fixed habit
BY_YIELD = ("irrigation", "public_supply", "industrial")
HAND_USES = ("village",)


def code_or_unknown(wells: pd.DataFrame, name: str) -> np.ndarray:
    """A coded column as objects, "unknown" where missing."""
    return wells[name].astype(object).where(wells[name].notna(), "unknown").to_numpy(dtype=object)


def is_hand(wells: pd.DataFrame) -> np.ndarray:
    """Wells drawn by hand: a hand pump is recorded, or a village well without a recorded pump."""
    kind = code_or_unknown(wells, "pump_kind_code")
    return (kind == "hand") | ((kind == "unknown") & wells["use_code"].isin(HAND_USES).to_numpy())


def pump_kind(wells: pd.DataFrame) -> np.ndarray:
    """Kind of pump to be hung: as recorded where it hangs on a drop pipe, else by use."""
    kind = code_or_unknown(wells, "pump_kind_code")
    kind = np.where(np.isin(kind, ["unknown", "none"]), "submersible", kind)
    return np.where(is_hand(wells), "hand", kind)


def _use(wells: pd.DataFrame) -> np.ndarray:
    return np.where(is_hand(wells), "village", code_or_unknown(wells, "use_code"))


def _times(one: Band, other: Band) -> Band:
    return Band(one.low * other.low, one.base * other.base, one.high * other.high)


def _larger(one: Band, other: Band) -> Band:
    return Band(max(one.low, other.low), max(one.base, other.base), max(one.high, other.high))


def _methods(settings: Settings) -> dict[str, tuple[Band, float]]:
    """Day demand [m3] and the time in which it is drawn [s] of uses whose method is declared, by use."""
    practice = settings.practice
    if practice["people_household"].base > 0:
        house = _times(practice["people_household"], practice["volume_person_house"])
    else:
        house = _times(practice["bedrooms_household"], practice["volume_bedroom"])
    out = {"domestic": (house, practice["duration_draw_house"].base)}
    if practice["herd_stock"].base > 0:
        herd = _times(practice["herd_stock"], practice["volume_animal"])
        out["stock"] = (herd, practice["duration_draw_stock"].base)
    return out


def day_demand(wells: pd.DataFrame, settings: Settings) -> tuple[Floats, Floats]:
    """Water wanted a day [m3] and the time in which it is drawn [s]; NaN where no method tells.

    Households by bedrooms or people, stock by the herd (declared in the practice values), village wells by the
    people on record.
    """
    use = _use(wells)
    volume, duration = np.full(len(wells), np.nan), np.full(len(wells), np.nan)
    for name, (day, hours) in _methods(settings).items():
        volume, duration = np.where(use == name, day.base, volume), np.where(use == name, hours, duration)
    people = wells["people_served_count"].to_numpy(float)
    counted = (use == "village") & (people > 0)
    volume = np.where(counted, people * settings.base("volume_person_village"), volume)
    return volume, np.where(counted, settings.base("duration_draw_village"), duration)


def asked_flow(wells: pd.DataFrame, settings: Settings) -> Banded:
    """Flow that the use asks, whatever the well gives, m3/s: the habit of the use and the declared day demand.

    A household's day demand within its hours raises the habit where it is more; a declared herd takes its place. A
    motor-pumped village well serves as many stands as its people ask; a hand pump gives what an arm gives, however
    many wait. With the share of the band kept, a record without people has no narrower band.
    """
    practice, use = settings.practice, _use(wells)
    out, methods = Banded.recorded(np.full(len(wells), np.nan)), _methods(settings)
    for name in np.unique(use.astype(str)):
        band = practice.get(f"flow_{name}", practice["flow_unknown"])
        if name in methods:
            day, hours = methods[name]
            mean = Band(day.low / hours, day.base / hours, day.high / hours)
            band = mean if name == "stock" else _larger(band, mean)
        here = np.where(use == name, 1.0, np.nan)
        out.fill(band.base * here, band.low * here, band.high * here, ASSUMED)
    people = np.where((use == "village") & ~is_hand(wells), wells["people_served_count"].to_numpy(float), np.nan)
    stands = demand.factor_people(people, practice["volume_person_village"].base,
                                  practice["duration_draw_village"].base, practice["flow_village"].base)  # fmt: skip
    basis = np.where(stands > 1, np.int8(DERIVED), out.basis).astype(np.int8)
    return Banded(out.base * stands, out.low * stands, out.high * stands, basis)


def sustained_flow(wells: pd.DataFrame, settings: Settings) -> Floats:
    """What a well gives for hours as far as its record tells, m3/s: its tested yield, or more where a test shows it.

    A test pumped at a small rate that hardly drew the water down tells of its pump, not of the well. Its rate is
    carried on as far as a declared share of the water above the deepest setting, its fall taken to grow with the
    square of the rate: the worst that losses in a well do (s = B Q + C Q^2, source ``well_loss_1947``). Where even
    that is less than the low end of what the use asks, the tested yield stands and the well is of low yield. A flag
    says where the duty goes beyond the test.

    Returns
    -------
    ndarray
        NaN where no yield is recorded.
    """
    tested = wells["flow_tested_m3_per_s"].to_numpy(float)
    tested = np.where(tested > 0, tested, np.nan)
    rows = np.flatnonzero(is_pumped_test(wells) & (tested > 0) & wells["depth_static_m"].notna().to_numpy())
    if len(rows):
        tested[rows] = _carried_on(wells.iloc[rows], tested[rows], settings)
    return tested


def _carried_on(wells: pd.DataFrame, tested: Floats, settings: Settings) -> Floats:
    """What wells with a pumped test give, m3/s; see :func:`sustained_flow`."""
    practice = settings.practice
    static = wells["depth_static_m"].to_numpy(float)
    fall = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - wells["depth_static_m"]).to_numpy(float)
    depth = recorded_depth(wells).to_numpy(float)
    clearance = np.minimum(practice["clearance_bottom"].base, settings.base("share_clearance_shallow") * depth)
    lowest = np.fmin(depth - clearance, wells["depth_screen_top_m"].to_numpy(float) - settings.base("clearance_screen"))
    lowest = np.fmin(lowest, wells["depth_obstruction_m"].to_numpy(float) - settings.base("clearance_obstruction"))
    water = lowest - practice["submergence"].low - practice["fall_drought"].base - np.maximum(static, 0.0)
    may = np.maximum(practice["share_drawdown_beyond"].base * water, 0.0)
    gives = tested * np.fmax(np.sqrt(may / np.maximum(fall, practice["fall_readable"].base)), 1.0)
    return np.where(gives >= asked_flow(wells, settings).low, gives, tested)


def most_plausible(wells: pd.DataFrame, gives: Floats, settings: Settings) -> Floats:
    """What a well may give where its yield is on record but not what it drew down, m3/s; NaN elsewhere.

    The yield may be all the well gives, or the rate of a test that drew down no more than the low end of its share of
    the water column. A yield blown out by air or bailed empties the well and is all of it.
    """
    told = wells["drawdown_test_m"].notna() | wells["depth_pumping_m"].notna()
    whole = told & wells["depth_static_m"].notna() & recorded_depth(wells).notna()
    most = np.sqrt(settings.base("share_drawdown_beyond") / settings.practice["share_drawdown"].low)
    open_end = ~whole & ~wells["test_method_code"].isin(BLOWN)
    return np.where(open_end, gives * most, np.nan)


def duty_flow(
    wells: pd.DataFrame, settings: Settings, asked: Banded | None = None, gives: Floats | None = None
) -> Banded:
    """Duty flow of every well.

    A recorded duty stands. Else what the use asks, limited by what the well gives; large users
    follow the tested yield. The least flow for which a pump is chosen is the floor. Yields of wells around limit no
    duty: they are wrong by a factor of three too often, and a pump is chosen for what the use asks.

    Returns
    -------
    Banded, m3/s
    """
    practice = settings.practice
    out = Banded.recorded(wells["flow_duty_m3_per_s"].to_numpy(float))
    tested = wells["flow_tested_m3_per_s"].to_numpy(float)
    tested = np.where(tested > 0, tested, np.nan)
    share = practice["share_duty_of_yield"]
    follows = np.isin(_use(wells), BY_YIELD)
    by_yield = np.where(follows, tested, np.nan)
    out.fill(by_yield * share.base, by_yield * share.low, by_yield * share.high, DERIVED)
    asked = asked_flow(wells, settings) if asked is None else asked
    gives = sustained_flow(wells, settings) if gives is None else gives
    out.fill(asked.base, asked.low, asked.high, asked.basis)
    most = gives * practice["share_yield"].high
    least = practice["flow_least"]
    typed = out.basis == RECORDED
    for end, floor in (("base", least.base), ("low", least.low)):
        values = getattr(out, end)
        limited = np.maximum(np.fmin(values, most), floor)
        setattr(out, end, np.where(typed, values, limited))
    # a yield of which it is not told what it drew down may be the rate of a small test; no wider than without a yield
    reach = np.minimum(most_plausible(wells, gives, settings), out.low + asked.high - asked.low)
    limited = np.maximum(np.fmin(out.high, np.where(follows, most, np.fmax(most, reach))), least.base)
    out.high = np.where(typed, out.high, np.maximum(limited, out.base))
    out.basis = np.where(~typed & (out.base >= most * (1 - 1e-12)), np.int8(DERIVED), out.basis)
    return out


def may_be_low(
    wells: pd.DataFrame, yields_low: Floats, asked: Banded, gives: Floats, settings: Settings
) -> tuple[np.ndarray, np.ndarray]:
    """Wells of which it is open whether they are of low yield: thought so by a yield that may be small, or untested.

    Parameters
    ----------
    yields_low : ndarray
        Tenth percentile of the yields of comparable wells, NaN where none tell. [m3/s]
    asked, gives : Banded, ndarray
        From :func:`asked_flow` and :func:`sustained_flow`. [m3/s]

    Returns
    -------
    may_be_more, may_be_less : ndarray of bool
        Low-yield wells that may give what their use asks; untested wells in a place where one in ten does not.
    """
    follows = np.isin(_use(wells), BY_YIELD) | ~np.isnan(wells["flow_duty_m3_per_s"].to_numpy(float))
    untested = ~(wells["flow_tested_m3_per_s"] > 0).to_numpy() & ~is_hand(wells) & ~follows
    return most_plausible(wells, gives, settings) >= asked.low, untested & (yields_low < asked.low)


def is_low_yield(
    wells: pd.DataFrame, settings: Settings, asked: Banded | None = None, gives: Floats | None = None
) -> np.ndarray:
    """Motor-pumped wells that give less than the low end of what their use asks: the pump is set deep."""
    gives = sustained_flow(wells, settings) if gives is None else gives
    asked = asked_flow(wells, settings) if asked is None else asked
    follows = np.isin(_use(wells), BY_YIELD) | ~np.isnan(wells["flow_duty_m3_per_s"].to_numpy(float))
    return (gives < asked.low) & ~is_hand(wells) & ~follows


def volume_available(wells: pd.DataFrame, seconds: Floats, static: Floats, intake: Floats, bore: Floats,
                     duty: Floats, hand: np.ndarray, settings: Settings) -> Floats:  # fmt: skip
    """Water that a well gives within the hours of drawing, m3: stored between rest level and intake, and its yield.

    Parameters
    ----------
    seconds : ndarray
        Time of drawing, from :func:`day_demand`. [s]
    static, intake, bore : ndarray
        Level at rest and pump intake below ground, inside of the casing. [m]
    duty : ndarray
        Duty flow, past which a hand pump gives no more. [m3/s]
    hand : ndarray of bool

    Returns
    -------
    ndarray
        NaN where no yield was tested or no method tells the hours: a yield guessed from wells around cannot say
        whether a crowd is served. The bore is taken all the way down: open rock
        below a casing is often a little narrower. Source: ``gwp_ex1``.
    """
    inflow = sustained_flow(wells, settings)
    stored = well.volume_available_m3(intake, np.maximum(static, 0.0), np.zeros(len(wells)), bore, inflow, seconds)
    return np.where(hand, np.minimum(stored, duty * seconds), stored)
