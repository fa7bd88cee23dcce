"""What recorded pump settings tell of the setting rules. Looks across wells: learn on the whole table first.

Each well with a recorded pump depth or drop-pipe length is worked out as though neither were known, once by every
rule that its record allows. What the rule misses, as a share of the water column down to the deepest setting, is
learned by source and region for hand and motor pumps apart, and drawn towards no correction where few wells tell.
The band of a rule comes from wells left out; a region without such wells takes the correction of the other regions of
its source with the wider band of whole regions left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.design_point.bands import Floats
from pipeline.design_point.ladder import grouped, joined
from pipeline.design_point.neighbours import TAIL, quantile_left_out
from pipeline.settings import Settings

# rules of setting, from the one that knows most: pumping level and submergence; share of the water column; of the depth
RULES = ("level", "column", "depth")
LEVEL, COLUMN, DEPTH = range(3)
# what a record must not tell for each rule to be the one that applies
_SETTING = ("depth_pump_m", "length_drop_pipe_m", "depth_pump_recommended_m")
_TEST = ("flow_tested_m3_per_s", "depth_pumping_m", "drawdown_test_m")
BLANKED = {LEVEL: _SETTING, COLUMN: _SETTING + _TEST, DEPTH: (*_SETTING, *_TEST, "depth_static_m", "is_flowing")}
REGION = ["source_id", "area_code", "region_code"]


@dataclass(frozen=True)
class Correction:
    """Shares of the water column, arrays over wells; NaN where nothing is learned.

    ``middle`` is added to what the rule says (shares of the column); ``down`` and ``up`` reach from there to the low
    and high of the band; ``told`` is the weight of what is learned against the declared band.
    """

    middle: Floats
    down: Floats
    up: Floats
    told: Floats


@dataclass(frozen=True)
class SettingRules:
    """Corrections by source, hand or motor pump, rule and region."""

    by_region: dict[tuple[int, int], pd.DataFrame] = field(default_factory=dict)
    by_source: dict[tuple[int, int], pd.DataFrame] = field(default_factory=dict)

    def look_up(self, wells: pd.DataFrame, hand: NDArray[np.bool_], rule: NDArray[np.int8]) -> Correction:
        """The correction of each well for the rule that sets it."""
        out = np.full((len(wells), 4), np.nan)
        if not self.by_source:
            return Correction(*out.T)
        groups, place = grouped(wells)
        region, source = joined(groups[REGION]), joined(groups[["source_id"]])
        for (is_hand, number), table in self.by_source.items():
            here = (hand == bool(is_hand)) & (rule == number)
            if here.any():
                wide = table.reindex(source).to_numpy(float)
                near = self.by_region[is_hand, number].reindex(region).to_numpy(float)
                out[here] = np.where(np.isnan(near), wide, near)[place[here]]
        return Correction(*out.T)


def medians_left_out(values: Floats) -> Floats:
    """For each value the median of the others; NaN for a lone one."""
    count = len(values)
    if count < 2:
        return np.full(count, np.nan)
    order = np.argsort(values, kind="stable")
    ordered, rank = values[order], np.empty(count, np.intp)
    rank[order] = np.arange(count)
    below, above = (count - 2) // 2, (count - 1) // 2
    return (ordered[below + (below >= rank)] + ordered[above + (above >= rank)]) / 2


def learn_rule(missed: Floats, region: NDArray, settings: Settings) -> tuple[pd.DataFrame, pd.Series] | None:
    """Corrections of one rule in one source: a row a region, and one for regions without recorded settings.

    Parameters
    ----------
    missed : ndarray
        Recorded less modelled setting as a share of the water column.
    region : ndarray of text

    Returns
    -------
    (DataFrame, Series) or None
        Columns middle, down, up, told. None where too few wells tell.
    """
    count = len(missed)
    if count < settings.base("wells_comparable"):
        return None
    borrowed = settings.base("wells_borrowed")
    told = count / (count + borrowed)
    middle = told * float(np.median(missed))
    own, other = np.empty(count), np.empty(count)
    middles = {}
    for name in np.unique(region):
        mine = region == name
        n = int(mine.sum())
        rest = missed[~mine]
        apart = float(np.median(rest)) * len(rest) / (len(rest) + borrowed) if len(rest) else 0.0
        other[mine] = missed[mine] - apart
        left = medians_left_out(missed[mine])
        drawn = np.where(np.isnan(left), middle, ((n - 1) * left + borrowed * middle) / (n - 1 + borrowed))
        own[mine] = missed[mine] - drawn
        middles[name] = (n * float(np.median(missed[mine])) + borrowed * middle) / (n + borrowed)
    down, up = (max(quantile_left_out(side, 1 - TAIL), 0.0) for side in (-own, own))
    if len(middles) > 1:
        wide = [max(quantile_left_out(side, 1 - TAIL), near) for side, near in ((-other, down), (other, up))]
    else:
        wide = [down * settings.base("factor_band_borrowed"), up * settings.base("factor_band_borrowed")]
    near = pd.DataFrame({"middle": middles, "down": down, "up": up, "told": told})
    return near, pd.Series({"middle": middle, "down": wide[0], "up": wide[1], "told": told})


def learn_rules(frame: pd.DataFrame, settings: Settings) -> SettingRules:
    """Corrections of all sources from a frame with one row a well and rule.

    Parameters
    ----------
    frame : DataFrame
        source_id, area_code, region_code, is_hand, rule (number), missed (share of the column).
    """
    near: dict[tuple[int, int], list[pd.DataFrame]] = {}
    wide: dict[tuple[int, int], dict[str, pd.Series]] = {}
    frame = frame[np.isfinite(frame["missed"])]
    for source, is_hand in sorted(set(zip(frame["source_id"].astype(str), frame["is_hand"].astype(int), strict=True))):
        mine = frame[(frame["source_id"] == source) & (frame["is_hand"] == is_hand)]
        least = [0.0, 0.0]
        for number in range(len(RULES)):
            here = mine[mine["rule"] == number].sort_values(["missed"], kind="stable")
            found = learn_rule(here["missed"].to_numpy(float), joined(here[REGION]).to_numpy(object), settings)
            if found is None:
                continue
            # a rule that knows less has no narrower band
            by_region, by_source = found
            for place, name in enumerate(("down", "up")):
                by_region[name] = np.maximum(by_region[name], least[place])
                by_source[name] = max(by_source[name], least[place], float(by_region[name].max()))
                least[place] = float(by_region[name].max())
            near.setdefault((is_hand, number), []).append(by_region)
            wide.setdefault((is_hand, number), {})[source] = by_source
    return SettingRules(
        {key: pd.concat(tables) for key, tables in near.items()},
        {key: pd.DataFrame(tables).T for key, tables in wide.items()},
    )
