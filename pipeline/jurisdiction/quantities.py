"""What a rule of a place may speak of: each quantity with its SI unit and how it is read from the tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings import Settings

Floats = NDArray[np.float64]
KEY = ["source_id", "well_id"]
# kinds of pump whose cable hangs beside the pipe
WITH_CABLE = ("submersible", "solar", "helical", "unknown")


class Tables:
    """Wells, design, selection, the chosen option and sums of the bill, side by side in the order of the wells."""

    def __init__(
        self, wells: pd.DataFrame, design: pd.DataFrame, selection: pd.DataFrame, bill_lines: pd.DataFrame,
        options: pd.DataFrame, settings: Settings,
    ):  # fmt: skip
        self.settings = settings
        self.keys = wells[KEY].reset_index(drop=True)
        self._frames = {
            "wells": wells.reset_index(drop=True),
            "design": _aligned(design, self.keys),
            "selection": _aligned(selection, self.keys),
        }
        self.option = options.set_index("option_id").reindex(self.column("selection", "option_id")).reset_index()
        self._bill = bill_lines
        self._place: NDArray[np.intp] | None = None

    def __len__(self) -> int:
        return len(self.keys)

    def column(self, place: str, name: str) -> pd.Series:
        """A column as it stands; missing everywhere where the table has none."""
        frame = self._frames[place]
        return frame[name] if name in frame else pd.Series([None] * len(self), dtype=object)

    def number(self, place: str, name: str) -> Floats:
        """A column as numbers, NaN where missing."""
        return pd.to_numeric(self.column(place, name), errors="coerce").to_numpy(float, na_value=np.nan)

    def truth(self, place: str, name: str) -> Floats:
        """A yes-or-no column as 1, 0 and NaN."""
        return self.number(place, name)

    def has_option(self) -> NDArray[np.bool_]:
        """Where a pipe is recommended."""
        return self.column("selection", "option_id").notna().to_numpy(bool)

    def billed(self, *stems: str) -> Floats:
        """Quantity billed of the items whose id is a stem or begins with it and a size; NaN without any bill."""
        total: Floats = np.zeros(len(self))
        any_line = np.zeros(len(self), bool)
        if len(self._bill):
            if self._place is None:
                place = pd.MultiIndex.from_frame(self.keys.astype(object))
                self._place = place.get_indexer(pd.MultiIndex.from_frame(self._bill[KEY].astype(object)))
            codes, items = pd.factorize(self._bill["item_id"].astype(object))
            wanted = np.array([any(i == s or i.startswith(f"{s}-") for s in stems) for i in items] + [False])[codes]
            here = self._place >= 0
            any_line[self._place[here]] = True
            take = here & wanted
            quantity = self._bill["quantity"].to_numpy(float)[take]
            total = np.bincount(self._place[take], weights=quantity, minlength=len(self)).astype(np.float64)
        return np.where(any_line, total, np.nan)


def _aligned(frame: pd.DataFrame, keys: pd.DataFrame) -> pd.DataFrame:
    same = len(frame) == len(keys) and all(bool((frame[k].to_numpy() == keys[k].to_numpy()).all()) for k in KEY)
    return frame.reset_index(drop=True) if same else keys.merge(frame, on=KEY, how="left", validate="m:1")


def _schedule(options: pd.DataFrame) -> Floats:
    """Schedule number of a class label, NaN where it has none."""
    return pd.to_numeric(options["class_label"].astype("string").str.extract(r"^Sch (\d+)")[0]).to_numpy(
        float, na_value=np.nan
    )


def _rating(options: pd.DataFrame) -> Floats:
    return pd.to_numeric(options["rating_kpa"], errors="coerce").to_numpy(float, na_value=np.nan) * 1000.0


# of an option, by a frame of options
OF_OPTION: dict[str, Callable[[pd.DataFrame], Floats]] = {"rating": _rating, "schedule": _schedule}


def _bury(t: Tables) -> Floats:
    return t.number("design", "depth_discharge_m")


def _ends(t: Tables) -> Floats:
    """Clamps over barbed ends: two adapters, and two ends a coupling."""
    return t.billed("clamp_hose") / (2.0 + 2.0 * t.number("selection", "joint_count"))


def _tie_spacing(t: Tables) -> Floats:
    ties = t.billed("cable_tie")
    has_cable = t.column("design", "pump_kind_code").isin(WITH_CABLE).to_numpy(bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(has_cable, t.number("design", "depth_pump_m") / ties, np.nan)


def _has(t: Tables, *stems: str) -> Floats:
    return t.billed(*stems)


def _unknown(t: Tables) -> Floats:
    return np.full(len(t), np.nan)


def _rope(t: Tables) -> Floats:
    """1 where no rope is billed and none can be wrong; unknown where one is."""
    return np.where(t.billed("safety_rope") == 0, 1.0, np.nan)


def _compound(t: Tables) -> Floats:
    """The compound that is billed is certified by its declaration; unknown where none is billed."""
    return np.where(t.billed("thread_compound") > 0, 1.0, np.nan)


def _dose(t: Tables) -> Floats:
    return np.where(t.billed("bleach") > 0, t.settings.base("dose_disinfectant"), np.nan)


def _plastic_above(t: Tables) -> Floats:
    depth = t.number("design", "depth_discharge_m")
    hand = t.column("design", "pump_kind_code").isin(["hand"]).to_numpy(bool)
    return np.where(np.isnan(depth) | hand, np.nan, (depth < 0).astype(float))


def _flowing(t: Tables) -> Floats:
    static = t.number("wells", "depth_static_m")
    return np.where(np.nan_to_num(t.truth("wells", "is_flowing")) == 1, 1.0, np.where(static < 0, 1.0, 0.0))


def _known(t: Tables, *names: str) -> Floats:
    seen = np.logical_or.reduce([t.column("wells", name).notna().to_numpy(bool) for name in names])
    return seen.astype(float)


def _well_depth(t: Tables) -> Floats:
    return np.fmax(t.number("wells", "depth_completed_m"), t.number("wells", "depth_drilled_m"))


@dataclass(frozen=True)
class Quantity:
    """What can be judged: of what it speaks, SI unit ("" for a count or share), its UCUM code and how it is read."""

    applies_to: tuple[str, ...]
    unit: str
    ucum: str
    read: Callable[[Tables], Floats] | None = None
    is_code: bool = False


def _well(unit: str, ucum: str, read: Callable[[Tables], Floats]) -> Quantity:
    return Quantity(("well",), unit, ucum, read)


def _bill(read: Callable[[Tables], Floats], unit: str = "", ucum: str = "1") -> Quantity:
    return Quantity(("bill",), unit, ucum, read)


QUANTITIES: dict[str, Quantity] = {
    "rating": Quantity(("option",), "Pa", "Pa", lambda t: _rating(t.option)),
    "schedule": Quantity(("option",), "", "1", lambda t: _schedule(t.option)),
    "joint_code": Quantity(("option",), "", "", is_code=True),
    "joint_count": Quantity(("selection",), "", "1", lambda t: t.number("selection", "joint_count")),
    "plastic_above_ground": Quantity(("selection",), "", "1", _plastic_above),
    "check_valve": _bill(lambda t: _has(t, "check_valve")),
    "torque_arrestor": _bill(lambda t: np.where(
        t.column("design", "pump_kind_code").isin(["submersible", "solar", "unknown"]), _has(t, "torque_arrestor"),
        np.nan)),
    "pitless_adapter": _bill(lambda t: _has(t, "pitless_adapter")),
    "clamp_per_end": _bill(_ends),
    "barb_is_metal": _bill(_unknown),
    "spacing_cable_tie": _bill(_tie_spacing, "m", "m"),
    "rope_is_inside": _bill(_rope),
    "compound_is_certified": _bill(_compound),
    "dose_disinfectant": _bill(_dose, "mg/L", "mg/L"),
    "flow_tested": _well("m**3/s", "m3/s", lambda t: t.number("wells", "flow_tested_m3_per_s")),
    "depth_well": _well("m", "m", _well_depth),
    "depth_static": _well("m", "m", lambda t: t.number("wells", "depth_static_m")),
    "depth_pump": _well("m", "m", lambda t: t.number("design", "depth_pump_m")),
    "depth_discharge": _well("m", "m", _bury),
    "discharge_below_frost": _well("m", "m", lambda t: _bury(t) - t.number("wells", "depth_frost_m")),
    "diameter_casing": _well("m", "m", lambda t: t.number("wells", "diameter_casing_inside_m")),
    "casing_above_ground": _well("m", "m", lambda t: t.number("wells", "length_stick_up_m")),
    "casing_above_flood": _well(
        "m", "m", lambda t: t.number("wells", "length_stick_up_m") - t.number("wells", "level_flood_m")),
    "access_port": _well("", "1", lambda t: t.truth("wells", "has_access_port")),
    "has_sand": _well("", "1", lambda t: t.truth("wells", "has_sand")),
    "is_flowing": _well("", "1", _flowing),
    "flow_is_controlled": _well("", "1", _unknown),
    "record_has_length": _well("", "1", lambda t: _known(t, "length_drop_pipe_m", "depth_pump_m")),
    "record_has_pump": _well("", "1", lambda t: _known(
        t, "depth_pump_m", "length_drop_pipe_m", "power_motor_w", "pump_kind_code", "pump_installed_date")),
}  # fmt: skip
