"""Estimated against recorded values: what calibrates the setting rules, and the table that shows how well they do."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.design_point import space
from pipeline.design_point.bands import Banded, Floats
from pipeline.design_point.calibration import BLANKED, LEVEL, RULES, SettingRules, learn_rules
from pipeline.design_point.comparable import Comparable
from pipeline.design_point.drawdown import is_pumped_test
from pipeline.design_point.duty import is_hand
from pipeline.design_point.levels import work_out
from pipeline.design_point.neighbours import sample_of
from pipeline.design_point.setting import advice, discharge_depth, water_column
from pipeline.settings import Settings


def recorded_setting(wells: pd.DataFrame, settings: Settings) -> Floats:
    """Pump setting on record, m below ground: pump depth, else drop-pipe length with its discharge depth."""
    pump = wells["depth_pump_m"].where(wells["depth_pump_m"] > 0).to_numpy(float)
    pipe = wells["length_drop_pipe_m"].where(wells["length_drop_pipe_m"] > 0).to_numpy(float)
    return np.where(np.isnan(pump), pipe + discharge_depth(wells, is_hand(wells), settings).base, pump)


def blanked(wells: pd.DataFrame, columns: tuple[str, ...]) -> pd.DataFrame:
    """The wells as though some columns had not been recorded; rows numbered from nought."""
    out = wells.reset_index(drop=True)
    return out.assign(**{name: pd.Series(np.nan, index=out.index).astype(out[name].dtype)
                         if out[name].dtype.kind == "f" else None for name in columns})  # fmt: skip


def learn_setting(wells: pd.DataFrame, settings: Settings, comparable: Comparable) -> SettingRules:
    """Corrections of the setting rules from wells with a recorded setting; a sample by id where they are many."""
    has = (wells["depth_pump_m"] > 0) | (wells["length_drop_pipe_m"] > 0)
    told = wells[has.to_numpy()]
    if told.empty:
        return SettingRules()
    told = told.iloc[sample_of(space.keys(told), int(settings.base("wells_left_out")))].reset_index(drop=True)
    recorded = recorded_setting(told, settings)
    parts = []
    for rule, columns in BLANKED.items():
        frame = blanked(told, columns)
        found = work_out(frame, settings, comparable)
        missed = (recorded - found.pump.base) / water_column(found.deepest, found.static.base)
        # low-yield wells are set deep by a rule of their own, and a rule speaks only of wells that it sets
        missed = np.where((found.rule == rule) & ~found.deep, missed, np.nan)
        parts.append(told[["source_id", "area_code", "region_code"]].assign(
            is_hand=found.hand.astype(int), rule=rule, missed=missed))  # fmt: skip
    return learn_rules(pd.concat(parts, ignore_index=True), settings)


def _rows(wells: pd.DataFrame, rule: NDArray | str, recorded: Floats, modelled: Banded) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "source_id": wells["source_id"], "well_id": wells["well_id"], "rule_code": rule,
            "area_code": wells["area_code"], "region_code": wells["region_code"], "use_code": wells["use_code"],
            "recorded_m": recorded, **modelled.columns("modelled_m", "modelled"),
            "residual_m": recorded - modelled.base,
            "is_in_band": pd.array((recorded >= modelled.low) & (recorded <= modelled.high), dtype="boolean"),
        }
    )  # fmt: skip


def residuals(wells: pd.DataFrame, settings: Settings, comparable: Comparable) -> pd.DataFrame:
    """The table ``residuals`` for a frame of wells: what is recorded against what would have been said without it.

    Rules ``setting_level``, ``setting_column`` and ``setting_depth`` for recorded pump depths and drop-pipe lengths,
    by the rule that the rest of the record allows; ``setting_advised`` where the driller's advice is recorded beside
    them; ``drawdown`` for pumped tests, at the rate of the test with the
    specific capacity of comparable wells. A well is never its own neighbour;
    in the quantiles of a group it is one among the others.
    """
    wells = wells.reindex(columns=[c.field.name for c in schema.table("wells")]).reset_index(drop=True)
    recorded = recorded_setting(wells, settings)
    parts = [_rows(wells.iloc[:0], "", np.empty(0), Banded.recorded(np.empty(0)))]
    if (has := ~np.isnan(recorded)).any():
        mine = wells[has].reset_index(drop=True)
        found = work_out(blanked(mine, BLANKED[LEVEL]), settings, comparable)
        names = np.array([f"setting_{name}" for name in RULES], dtype=object)[found.rule]
        parts.append(_rows(mine, names, recorded[has], found.pump))
    if (has := ~np.isnan(recorded) & ~np.isnan(advice(wells))).any():
        mine = wells[has].reset_index(drop=True)
        found = work_out(blanked(mine, ("depth_pump_m", "length_drop_pipe_m")), settings, comparable)
        parts.append(_rows(mine, "setting_advised", recorded[has], found.pump))
    drawdown = wells["drawdown_test_m"].fillna(wells["depth_pumping_m"] - wells["depth_static_m"]).to_numpy(float)
    flow = wells["flow_tested_m3_per_s"].to_numpy(float)
    if (has := is_pumped_test(wells) & (flow > 0) & (drawdown > 0)).any():
        mine = wells[has].reset_index(drop=True)
        capacity = work_out(blanked(mine, ("depth_pumping_m", "drawdown_test_m")), settings, comparable).capacity
        fall = [flow[has] / getattr(capacity, end) for end in ("base", "high", "low")]
        parts.append(_rows(mine, "drawdown", drawdown[has], Banded(fall[0], fall[1], fall[2], capacity.basis)))
    out = pd.concat(parts[1:] or parts, ignore_index=True)
    out = out[out["modelled_m"].notna() & out["recorded_m"].notna()]
    return out[[c.field.name for c in schema.table("residuals")]].reset_index(drop=True)
