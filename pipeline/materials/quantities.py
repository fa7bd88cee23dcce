"""How many pieces, joints, metres and fittings a drop pipe takes; arrays over wells, SI.

The rules stand in bill_rules.csv. Rounding up allows a micrometre, so that 300 ft converted to
metres still is one 300 ft coil.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.materials.goods import Catalogue, Rule

_SLOP = 1e-6
_MG_PER_L_OF_PURE = 1e6

Floats = NDArray[np.float64]


def round_up(values: ArrayLike) -> Floats:
    """Next whole number, forgiving a millionth; NaN stays NaN."""
    return np.asarray(np.ceil(np.asarray(values, float) - _SLOP))


def volume_water(
    depth_completed_m: ArrayLike, depth_static_m: ArrayLike, diameter_casing_inside_m: ArrayLike
) -> Floats:
    """Water standing in the casing. [m3] At least 0; NaN where an input is missing."""
    column = np.maximum(np.subtract(depth_completed_m, np.maximum(depth_static_m, 0.0)), 0.0)
    return np.asarray(np.pi / 4 * np.square(diameter_casing_inside_m) * column)


def volume_bleach(volume_m3: ArrayLike, dose_mg_per_l: float, strength: float) -> Floats:
    """Bleach that brings a volume of water to a chlorine dose. [L]

    Parameters
    ----------
    volume_m3 : array_like [m3]
    dose_mg_per_l : float
        Chlorine wanted. [mg/L]
    strength : float
        Chlorine in the bleach, mass over volume: 0.0525 is 52.5 g/L. [1]
    """
    litres = np.asarray(volume_m3, float) * 1000.0
    return np.asarray(litres * dose_mg_per_l / (strength * _MG_PER_L_OF_PURE))


@dataclass(frozen=True)
class Pieces:
    """Pieces of pipe for each well.

    Attributes
    ----------
    count : ndarray
        Coils or sticks. [1]
    length_m : ndarray
        Length bought, all pieces together. [m]
    """

    count: Floats
    length_m: Floats


def pieces(catalogue: Catalogue, option_index: NDArray[np.int64], length_m: ArrayLike) -> Pieces:
    """Coils or sticks that hold a length.

    A coil is the smallest stock length that holds the pipe and its make-up. Only a string longer than
    the longest coil is joined: longest coils, then the smallest that holds the rest. Sticks are counted
    whole, less the length that adapters give.

    Parameters
    ----------
    option_index : ndarray of int, one a well; -1 gives NaN
    length_m : array_like [m]
    """
    length = np.asarray(length_m, float)
    if not len(catalogue.options) or not len(length):
        return Pieces(np.full(length.shape, np.nan), np.full(length.shape, np.nan))
    safe = np.maximum(option_index, 0)
    base = catalogue.settings.base
    stick = catalogue.stick_m[safe]
    count = np.maximum(round_up((length - base("length_adapter_allowance")) / stick), 1.0)
    bought = count * stick
    coiled = np.flatnonzero(np.isnan(stick) & (option_index >= 0) & (length >= 0))
    if len(coiled):
        option = safe[coiled]
        longest = catalogue.coil_longest_m[option]
        need = length[coiled] + base("length_coil_make_up")
        whole = np.maximum(round_up(need / longest) - 1.0, 0.0)
        rest = need - whole * longest
        rank = np.zeros(len(option), np.intp)
        for column in catalogue.coils_m.T:
            rank += column[option] < rest - _SLOP
        last = catalogue.coils_m[option, np.minimum(rank, catalogue.coils_m.shape[1] - 1)]
        count[coiled] = whole + 1.0
        bought[coiled] = whole * longest + last
    bad = (option_index < 0) | ~(length >= 0)
    count[bad], bought[bad] = np.nan, np.nan
    return Pieces(count, bought)


def length_cable(catalogue: Catalogue, option_index: NDArray[np.int64], depth_pump_m: ArrayLike) -> Floats:
    """Power cable: pump depth with the family's slack, and the length beyond the wellhead. [m]"""
    slack = catalogue.slack[np.maximum(option_index, 0)]
    return np.asarray(np.asarray(depth_pump_m, float) * (1.0 + slack) + catalogue.settings.base("length_cable_head"))


@dataclass(frozen=True)
class Features:
    """What the rules multiply, one array a feature, over wells; built once a batch."""

    catalogue: Catalogue
    pieces: Pieces
    length_m: Floats
    depth_pump_m: Floats
    cable_m: Floats
    is_large_motor: NDArray[np.bool_]
    bleach_l: Floats

    def of(self, rule: Rule) -> Floats:
        """Values of the feature of one rule. Spacings are counted as whole intervals begun."""
        joint = self.pieces.count - 1.0
        match rule.feature:
            case "well":
                return np.ones_like(self.length_m)
            case "joint":
                return joint
            case "joint_shallow" | "joint_deep":
                deep = self.length_m > self.catalogue.settings.base("depth_coupling_stainless")
                return np.where(deep == (rule.feature == "joint_deep"), joint, 0.0)
            case "piece":
                return self.pieces.count
            case "length_pipe":
                return self.length_m
            case "depth_pump":
                return self.depth_pump_m
            case "cable_small" | "cable_large":
                return np.where(self.is_large_motor == (rule.feature == "cable_large"), self.cable_m, 0.0)
            case "rope":
                return self.depth_pump_m + self.catalogue.settings.base("length_cable_head")
            case "per_spacing_length":
                return round_up(self.length_m / rule.spacing_m)
            case "per_spacing_depth":
                return round_up(self.depth_pump_m / rule.spacing_m)
            case _:
                return self.bleach_l

    def quantity(self, rule: Rule) -> Floats:
        """Quantity of one rule for every well, whether or not the rule applies; missing counts as nothing."""
        values = np.maximum(rule.minimum, rule.addition + rule.factor * self.of(rule))
        if rule.is_countable:
            values = round_up(values)
        return np.nan_to_num(values, nan=0.0)


def features(
    catalogue: Catalogue,
    option_index: NDArray[np.int64],
    length_m: ArrayLike,
    depth_pump_m: ArrayLike,
    power_motor_w: ArrayLike | None = None,
    volume_water_m3: ArrayLike | None = None,
) -> Features:
    """Features of a batch of wells.

    Parameters
    ----------
    option_index : ndarray of int, one a well; -1 where no pipe is chosen
    length_m, depth_pump_m : array_like [m]
    power_motor_w : array_like, optional [W]
        Chooses small or large cable; small where missing.
    volume_water_m3 : array_like, optional [m3]
        Water to be disinfected; no bleach where missing.
    """
    length, depth = np.asarray(length_m, float), np.asarray(depth_pump_m, float)
    base = catalogue.settings.base
    power = np.zeros_like(length) if power_motor_w is None else np.asarray(power_motor_w, float)
    water = np.zeros_like(length) if volume_water_m3 is None else np.asarray(volume_water_m3, float)
    return Features(
        catalogue, pieces(catalogue, option_index, length), length, depth,
        length_cable(catalogue, option_index, depth), power > base("power_cable_small") * (1 + _SLOP),
        volume_bleach(water, base("dose_disinfectant"), base("strength_bleach")),
    )  # fmt: skip
