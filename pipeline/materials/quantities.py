"""How many pieces, joints, metres and fittings a drop pipe takes; SI.

Written once as compiled scalar functions; the bill asks them for every well, the draws for sums. The
rules stand in bill_rules.csv. Rounding up allows a micrometre, so that 300 ft converted to metres
still is one 300 ft coil.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline import compiled
from pipeline.materials import cables
from pipeline.materials.goods import FEATURES, Catalogue

_SLOP = 1e-6
_MG_PER_L_OF_PURE = 1e6
_MILLI = 1000.0
# places of the features in FEATURES, as the compiled code knows them
(_WELL, _JOINT, _SHALLOW, _DEEP, _PIECE, _LENGTH, _DEPTH, _CABLE, _ROPE, _BY_LENGTH, _BY_DEPTH, _BLEACH,
 _VALVE_BETWEEN, _END_PAIR) = range(len(FEATURES))  # fmt: skip
# practice values in the order in which the compiled code reads them
_RUN = ("length_coil_make_up", "length_adapter_allowance", "length_cable_head", "depth_coupling_stainless",
        "length_cable_surface", "surface_cable_billed")  # fmt: skip

Floats = NDArray[np.float64]


@compiled.scalar
def _pieces(length, stick, coils, longest, make_up, allowance):
    """Pieces and length bought of one well; see :func:`pieces`."""
    if not length >= 0.0:
        return np.nan, np.nan
    if stick > 0.0:
        count = max(np.ceil((length - allowance) / stick - _SLOP), 1.0)
        return count, count * stick
    need = length + make_up
    whole = max(np.ceil(need / longest - _SLOP) - 1.0, 0.0)
    rest = need - whole * longest
    last = coils[0]
    for coil in coils:
        last = coil
        if coil >= rest - _SLOP:
            break
    return whole + 1.0, whole * longest + last


@compiled.scalar
def _feature(code, spacing, length, depth, count, cable, bleach, head, deep):
    """Value of one feature of one well. Spacings are counted as whole intervals begun."""
    if code == _WELL:
        return 1.0
    if code == _JOINT:
        return count - 1.0
    if code == _SHALLOW:
        return 0.0 if length > deep else count - 1.0
    if code == _DEEP:
        return count - 1.0 if length > deep else 0.0
    if code == _PIECE:
        return count
    if code == _LENGTH:
        return length
    if code == _DEPTH:
        return depth
    if code == _CABLE:
        return cable
    if code == _ROPE:
        return depth + head
    if code == _BY_LENGTH:
        return np.ceil(length / spacing - _SLOP)
    if code == _BY_DEPTH:
        return np.ceil(depth / spacing - _SLOP)
    if code == _VALVE_BETWEEN:
        return max(np.ceil(length / spacing - _SLOP) - 1.0, 0.0)
    if code == _END_PAIR:
        return count - 1.0 + max(np.ceil(length / spacing - _SLOP) - 1.0, 0.0)
    return bleach


@compiled.scalar
def _gauge(step, most, run, resistance):
    """Gauge of a run: from the thinnest that carries the current to the first that keeps the drop; see cables.py."""
    while step + 1 < len(resistance) and resistance[step + 1] > 0.0 and resistance[step] * run > most * (1.0 + 1e-9):
        step += 1
    return step


@compiled.scalar
def _quantity(rule, length, depth, count, cable, gauge, bleach, head, deep):
    """Quantity that one rule asks of one well: max(minimum, addition + factor x feature); missing is nothing."""
    if rule[6] >= 0.0 and rule[6] != gauge:
        return 0.0
    feature = _feature(int(rule[0]), rule[3], length, depth, count, cable, bleach, head, deep)
    value = rule[2] + rule[1] * feature
    if not value > -np.inf:
        return 0.0
    value = max(rule[4], value)
    return np.ceil(value - _SLOP) if rule[5] > 0.0 else value


@compiled.scalar
def _every(option, length, depth, most, step, bleach, sticks, coils, longest, slack, run, resistance,
           rules, bought, out):  # fmt: skip
    """Length bought and quantity of every rule for every well."""
    for i in range(len(option)):
        j = option[i]
        if j < 0:
            continue
        count, bought[i] = _pieces(length[i], sticks[j], coils[j], longest[j], run[0], run[1])
        inside = depth[i] * (1.0 + slack[j]) + run[2]
        cable, gauge = inside + run[4] * run[5], _gauge(step[i], most[i], inside + run[4], resistance[j])
        for r in range(len(rules)):
            out[i, r] = _quantity(
                rules[r], length[i], depth[i], count, cable, gauge, bleach[i], run[2], run[3]
            )


@compiled.scalar
def _sums(group, weight, option, length, depth, most, step, bleach, sticks, coils, longest, slack, run, resistance,
          rules, amounts, users, bought):  # fmt: skip
    """As :func:`_every`, added up by group in whole thousandths, each times its whole weight."""
    for i in range(len(option)):
        j, w, g = option[i], weight[i], group[i]
        if j < 0 or w == 0:
            continue
        count, metres = _pieces(length[i], sticks[j], coils[j], longest[j], run[0], run[1])
        inside = depth[i] * (1.0 + slack[j]) + run[2]
        cable, gauge = inside + run[4] * run[5], _gauge(step[i], most[i], inside + run[4], resistance[j])
        bought[g] += w * np.int64(np.rint(metres * _MILLI))
        for r in range(len(rules)):
            value = _quantity(rules[r], length[i], depth[i], count, cable, gauge, bleach[i], run[2], run[3])
            if value > 0.0:
                amounts[g, r] += w * np.int64(np.rint(value * _MILLI))
                users[g, r] += w


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
    batch = Batch(catalogue, option_index, length_m, length_m)
    bought, asked = batch.quantities(np.array([[_PIECE, 1.0, 0.0, np.nan, 0.0, 0.0, -1.0]]))
    return Pieces(np.where(np.isnan(bought), np.nan, asked[:, 0]), bought)


def length_cable(catalogue: Catalogue, option_index: NDArray[np.int64], depth_pump_m: ArrayLike) -> Floats:
    """Power cable: pump depth with the family's slack, and the length beyond the wellhead. [m]"""
    slack = catalogue.slack[np.maximum(option_index, 0)]
    return np.asarray(np.asarray(depth_pump_m, float) * (1.0 + slack) + catalogue.settings.base("length_cable_head"))


class Batch:
    """Wells whose goods are asked for together.

    Parameters
    ----------
    option_index : ndarray of int, one a well; -1 where no pipe is chosen
    length_m, depth_pump_m : array_like [m]
    power_motor_w : array_like, optional [W]
        Chooses the gauge of the cable; the thinnest where missing.
    volume_water_m3 : array_like, optional [m3]
        Water to be disinfected; no bleach where missing.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        option_index: NDArray[np.int64],
        length_m: ArrayLike,
        depth_pump_m: ArrayLike,
        power_motor_w: ArrayLike | None = None,
        volume_water_m3: ArrayLike | None = None,
    ):
        base = catalogue.settings.base
        self.catalogue = catalogue
        self.length_m = np.ascontiguousarray(length_m, dtype=np.float64)
        nothing = np.zeros_like(self.length_m)
        power = nothing if power_motor_w is None else np.asarray(power_motor_w, float)
        water = nothing if volume_water_m3 is None else np.asarray(volume_water_m3, float)
        bleach = volume_bleach(water, base("dose_disinfectant"), base("strength_bleach"))
        self._wells = (
            np.ascontiguousarray(option_index, dtype=np.int64), self.length_m,
            np.ascontiguousarray(depth_pump_m, dtype=np.float64),
            *cables.asked(power, catalogue.market[np.maximum(option_index, 0)], catalogue.settings),
            np.ascontiguousarray(bleach),
        )  # fmt: skip
        run = [base(name) for name in _RUN]
        resistance = cables.resistances(catalogue.settings)[catalogue.market]
        self._goods = (catalogue.stick_m, catalogue.coils_m, catalogue.coil_longest_m, catalogue.slack, np.array(run),
                       np.ascontiguousarray(resistance))  # fmt: skip

    def quantities(self, vectors: Floats | None = None) -> tuple[Floats, Floats]:
        """Length bought (n) [m], and the quantity of each of ``catalogue.vectors`` (n, vectors), applied or not."""
        rules = self.catalogue.vectors if vectors is None else vectors
        bought, out = np.full(len(self.length_m), np.nan), np.zeros((len(self.length_m), len(rules)))
        _every(*self._wells, *self._goods, rules, bought, out)
        return bought, out

    def sums(
        self, group: NDArray[np.integer], weight: NDArray[np.int64], groups: int
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Sums by group in whole numbers, the same in any order.

        Parameters
        ----------
        group : ndarray of int, 0 to groups - 1
        weight : ndarray of int64, thousandths

        Returns
        -------
        amounts, users, bought : ndarray of int64, (groups, vectors) twice and (groups)
            Millionths of a unit; weight of the wells that take any; micrometres of pipe.
        """
        rules = self.catalogue.vectors
        amounts, users = np.zeros((groups, len(rules)), np.int64), np.zeros((groups, len(rules)), np.int64)
        bought = np.zeros(groups, np.int64)
        _sums(np.asarray(group, np.int64), weight, *self._wells, *self._goods, rules, amounts, users, bought)
        return amounts, users, bought
