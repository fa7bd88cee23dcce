"""Duty flow: what the use asks, limited by what the well gives."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.design_point.bands import ASSUMED, DERIVED, RECORDED, Banded
from pipeline.settings import Settings

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


def duty_flow(wells: pd.DataFrame, settings: Settings) -> Banded:
    """Duty flow of every well.

    A recorded duty stands. Else the habit of the use, limited by the tested yield; large users
    follow the yield. The least flow for which a pump is chosen is the floor.

    Returns
    -------
    Banded, m3/s
    """
    practice = settings.practice
    out = Banded.recorded(wells["flow_duty_m3_per_s"].to_numpy(float))
    tested = wells["flow_tested_m3_per_s"].to_numpy(float)
    tested = np.where(tested > 0, tested, np.nan)
    use = code_or_unknown(wells, "use_code")
    use = np.where(is_hand(wells), "village", use)
    share = practice["share_duty_of_yield"]
    follows = np.isin(use, BY_YIELD)
    by_yield = np.where(follows, tested, np.nan)
    out.fill(by_yield * share.base, by_yield * share.low, by_yield * share.high, DERIVED)
    for name in np.unique(use.astype(str)):
        band = practice.get(f"flow_{name}", practice["flow_unknown"])
        here = np.where(use == name, 1.0, np.nan)
        out.fill(band.base * here, band.low * here, band.high * here, ASSUMED)
    most = tested * practice["share_yield"].high
    least = practice["flow_least"]
    typed = out.basis == RECORDED
    for end, floor in (("base", least.base), ("low", least.low), ("high", least.base)):
        values = getattr(out, end)
        limited = np.maximum(np.fmin(values, most), floor)
        setattr(out, end, np.where(typed, values, limited))
    out.basis = np.where(~typed & (out.base >= most * (1 - 1e-12)), np.int8(DERIVED), out.basis)
    return out


def is_low_yield(wells: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Motor-pumped wells that give less than the low end of what their use asks: the pump is set deep."""
    tested = wells["flow_tested_m3_per_s"].to_numpy(float)
    practice = settings.practice
    use = code_or_unknown(wells, "use_code")
    codes, place = np.unique(use.astype(str), return_inverse=True)
    asked = np.array([practice.get(f"flow_{name}", practice["flow_unknown"]).low for name in codes])[place]
    follows = np.isin(use, BY_YIELD) | ~np.isnan(wells["flow_duty_m3_per_s"].to_numpy(float))
    return (tested > 0) & (tested < asked) & ~is_hand(wells) & ~follows
