"""What comparable wells tell of a missing input. Looks across wells: learn on the whole table first.

The nearest wells of the source speak first (:mod:`neighbours`); where a well has no coordinates, or its
neighbours lie too far to tell more than their group, quantiles of its source, region and use, then of wider groups
(:mod:`ladder`). What none of them tells falls to declared defaults. Each look-up is for one well on its own, so that
chunks equal the whole.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.design_point import space
from pipeline.design_point.bands import Floats
from pipeline.design_point.calibration import SettingRules
from pipeline.design_point.ladder import Ladder, Seats, learn_ladder
from pipeline.design_point.neighbours import Donors, Manner, Told, learn_donors
from pipeline.settings import Band, Settings

BLOWN = ("airlift", "bailed", "estimated")
# quantity: whether neighbours are compared by its logarithm, and the views (ground level, depth) it is looked at by
QUANTITIES: dict[str, tuple[bool, tuple[tuple[bool, bool], ...]]] = {
    "static": (False, ((False, False), (True, False), (False, True), (True, True))),
    "depth": (True, ((False, False),)),
    "capacity": (True, ((False, False),)),
    "column_over_fall": (True, ((False, False),)),
    "flow": (True, ((False, False),)),
}
# how neighbours are weighed: field of Manner, practice id, and whether candidates lie evenly in its logarithm
WEIGHED = (
    ("depth_km", "distance_per_depth", True),
    ("power", "power_distance", False),
    ("least_km", "distance_near_least", True),
    ("ground", "share_level_of_ground", False),
    ("slope", "slope_on_depth", False),
    ("other_use", "weight_other_use", False),
    ("decade", "weight_decade", False),
)
KM = 1000.0


def recorded_depth(wells: pd.DataFrame) -> pd.Series:
    """Bottom of the well as recorded, m: completed, else drilled, else bottom of screen or casing."""
    first = wells["depth_completed_m"]
    for name in ("depth_drilled_m", "depth_screen_bottom_m", "depth_casing_bottom_m"):
        first = first.where(first > 0).fillna(wells[name])
    return first.where(first > 0)


def quantities(wells: pd.DataFrame) -> pd.DataFrame:
    """What each well tells of the quantities that wells of a place have in common; NaN where it does not.

    ``static`` in m, ``depth`` in m, ``share`` of depth at which the level stands, ``capacity`` in m2/s from
    pumped tests, ``column_over_fall`` of those tests: the water column over what the test drew down, by which a
    yield without a fall tells a capacity; ``flow`` tested in m3/s; ``latitude`` in degrees from the equator.
    """
    depth = recorded_depth(wells)
    static = wells["depth_static_m"]
    drawdown = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - static)
    flow = wells["flow_tested_m3_per_s"].where(wells["flow_tested_m3_per_s"] > 0)
    fall = drawdown.where((drawdown > 0) & ~wells["test_method_code"].isin(BLOWN))
    column = depth - static.where(static > 0, 0.0)
    return pd.DataFrame(
        {
            "static": static, "depth": depth, "flow": flow, "capacity": flow / fall,
            "column_over_fall": (column / fall).where((flow > 0) & (column >= fall)),
            "share": (static / depth).where((static >= 0) & (static < depth)), "latitude": wells["latitude_deg"].abs(),
        }
    ).astype(float)  # fmt: skip


def told(wells: pd.DataFrame) -> Told:
    """What each well tells of itself to a search among neighbours."""
    key = space.keys(wells)
    use_numbers = {code: number for number, code in enumerate(schema.codes("use")) if code != "unknown"}
    use = wells["use_code"].astype(object).map(use_numbers).fillna(-1).to_numpy(float).astype(np.int64)
    years = pd.to_datetime(wells["completed_date"], errors="coerce").dt.year.to_numpy(float)
    return Told(key, space.points(wells, key), wells["elevation_ground_m"].to_numpy(float),
                recorded_depth(wells).to_numpy(float), use, years / 10.0)  # fmt: skip


@dataclass(frozen=True)
class Comparable:
    """What the whole table of wells tells: neighbours by source and quantity, and groups by rung."""

    ladder: Ladder
    donors: dict[tuple[str, str], Donors]
    setting: SettingRules = field(default_factory=SettingRules)

    def ask(self, wells: pd.DataFrame) -> Asked:
        """These wells before what the whole table tells; rows numbered from nought."""
        return Asked(self, wells)


@dataclass(frozen=True, eq=False)
class Asked:
    """Some wells before what the whole table tells: one look at their places and groups serves every quantity."""

    comparable: Comparable
    wells: pd.DataFrame

    @cached_property
    def told(self) -> Told:
        """What these wells tell of themselves."""
        return told(self.wells)

    @cached_property
    def seats(self) -> Seats:
        """Their places on the ladder of groups."""
        return self.comparable.ladder.seats(self.wells)

    def near(self, name: str, wanted: NDArray[np.bool_]) -> Floats:
        """Low, middle and high of one quantity from the nearest wells, for the wells ``wanted``.

        Logarithms for the quantities that are compared by them.

        Returns
        -------
        ndarray, shape (n, 3)
            NaN where not wanted, or where no neighbour is near enough to tell.
        """
        found = np.full((len(self.wells), 3), np.nan)
        if not wanted.any():
            return found
        wanted = wanted & self.wells["latitude_deg"].notna().to_numpy()
        sources = self.wells["source_id"].astype(object).to_numpy()
        for (source, quantity), donors in self.comparable.donors.items():
            if quantity == name:
                rows = np.flatnonzero(wanted & (sources == source))
                if len(rows):
                    found[rows] = donors.estimate(self.told.take(rows))
        return found

    def group(self, name: str) -> Floats:
        """Low, middle and high of one quantity from groups of wells, shape (n, 3); logarithms as for :meth:`near`."""
        found = self.comparable.ladder.look_up(self.seats, name)
        return np.log(found) if QUANTITIES.get(name, (False, ()))[0] else found


def _candidates(band: Band, logarithmic: bool) -> tuple[float, ...]:
    """Five values to be tried between the low and high of a practice value."""
    ends = np.array([band.low, band.base, band.high])
    if logarithmic:
        between = np.sqrt(ends[:-1] * ends[1:])
    else:
        between = (ends[:-1] + ends[1:]) / 2
    return tuple(float(v) for v in np.unique(np.concatenate([ends, between])))


def _manner(settings: Settings) -> tuple[Manner, dict[str, tuple[float, ...]]]:
    """The declared manner of weighing, and the values to be tried for each part of it."""
    declared, grid = {}, {}
    for name, practice, logarithmic in WEIGHED:
        band = settings.practice[practice]
        if name.endswith("_km"):
            band = Band(band.low / KM, band.base / KM, band.high / KM)
        declared[name], grid[name] = band.base, _candidates(band, logarithmic)
    return Manner(**declared), grid


def learn_from(wells: pd.DataFrame, settings: Settings) -> Comparable:
    """What the whole table of wells tells; rows in any order give the same answers.

    Work grows with the number of wells (search trees) and is otherwise bounded: what is learned by leaving wells out
    is learned on a sample drawn by id.
    """
    values = quantities(wells)
    fewest = int(settings.base("wells_comparable"))
    ladder = learn_ladder(wells, values, fewest)
    declared, grid = _manner(settings)
    sources = wells["source_id"].astype(object).to_numpy()
    work: list[tuple[str, str, tuple[Any, ...]]] = []
    for source in sorted({s for s in pd.unique(wells["source_id"]) if isinstance(s, str)}):
        rows = np.flatnonzero(sources == source)
        here = wells.iloc[rows]
        if here["latitude_deg"].notna().sum() < fewest:
            continue
        tells, seats = told(here), ladder.seats(here)
        for name, (is_log, views) in QUANTITIES.items():
            value, group = values[name].to_numpy()[rows], ladder.look_up(seats, name)[:, 1]
            if is_log:
                value, group = np.log(value), np.log(group)
            work.append((source, name, (
                tells, value, group, grid, declared, int(settings.base("wells_near")), fewest,
                int(settings.base("wells_learned_from")), int(settings.base("wells_left_out")),
                int(settings.base("wells_held")), is_log, views,
            )))  # fmt: skip
    with ThreadPoolExecutor(settings.threads) as pool:
        found = list(pool.map(lambda item: learn_donors(*item[2]), work))
    donors = {(source, name): one for (source, name, _), one in zip(work, found, strict=True) if one is not None}
    return Comparable(ladder, donors)
