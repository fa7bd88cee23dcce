"""Constants of a market's options laid out for the compiled kernel: blocks of lanes, and the ideal of each block."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.friction import REYNOLDS_LAMINAR
from pipeline.sizing.constants import FAMILIES, Market
from pipeline.sizing.kernel import DIVIDERS, IDEALS, LANES, ROWS
from pipeline.sizing.layout import OPTION, O, R

Floats = NDArray[np.float64]
# constants of which more is better, or no worse; of all others less is
MORE_IS_BETTER = frozenset({
    "reynolds_per_ratio", "area_outside", "rating", "surge_limit", "dead_head_limit", "tension_sustained",
    "tension_pulling", "temperature_max", "chloride_max", "coil_longest", "piece", "band_head",
    "stress_allowed",
})  # fmt: skip
LAMINAR_MOST = 64.0 / REYNOLDS_LAMINAR  # no factor between laminar and turbulent lies below this
TABLE_SLACK = 0.98  # the least of several smooth columns has kinks, past which interpolation swings by under 1 %
# scalars of a run that must not be negative, and those that must not fall, for bounds to hold
COSTS = ("pulls", "energy", "penalty_splice", "penalty_band", "penalty_chemistry", "penalty_dead_head",
         "penalty_soft", "share_acid", "make_up", "velocity_limit", "velocity_most", "friction_limit")  # fmt: skip
RISING = (("lift_hand", "lift_roller", "lift_winch"),
          ("install_hand", "install_roller", "install_winch", "install_hoist"))  # fmt: skip


@dataclass(frozen=True)
class Blocks:
    """What the kernel reads of a market; every block holds LANES options of one material, sold in the same coils.

    Attributes
    ----------
    pack : ndarray (blocks, constants x LANES)
    table : ndarray (ROWS, blocks, LANES)
    material : ndarray of int64 (blocks)
    number : ndarray of int64 (blocks, LANES)
        Option in each lane; a block that is not full repeats its last.
    family : ndarray of int64 (blocks)
    coils, coil_of : ndarray (sets, lengths) and of int64 (blocks)
        Stock coil lengths, and the set in which all of a block are sold.
    ideal, ideal_table, ideal_material, ideal_coil
        The same for one option a block that is better than all of it; empty where bounds do not hold.
    """

    pack: Floats
    table: Floats
    material: NDArray[np.int64]
    number: NDArray[np.int64]
    family: NDArray[np.int64]
    coils: Floats
    coil_of: NDArray[np.int64]
    ideal: Floats
    ideal_table: Floats
    ideal_material: NDArray[np.int64]
    ideal_coil: NDArray[np.int64]


def _aligned(values: NDArray) -> NDArray:
    """A copy that begins on a cache line, so that no vector straddles two."""
    flat = np.ascontiguousarray(values)
    room = np.empty(flat.nbytes + 64, np.uint8)
    start = -room.ctypes.data % 64
    out = room[start : start + flat.nbytes].view(flat.dtype).reshape(flat.shape)
    out[...] = flat
    return out


def _packed(constants: Floats, lanes: int) -> Floats:
    """Constants (OPTION, options) and one over the dividers as blocks of lanes."""
    with np.errstate(divide="ignore"):
        rows = np.concatenate([constants, 1.0 / constants[[O[name] for name in DIVIDERS]]])
    return _aligned(rows.reshape(len(rows), -1, lanes).transpose(1, 0, 2).reshape(-1, len(rows) * lanes))


def _bounds_hold(group: Market) -> bool:
    """Whether a better constant can never make a dearer option: no negative price, visits dearer with weight."""
    run = {name: group.run[place] for name, place in R.items()}
    costs = [group.constants[O[name]] for name in OPTION]
    rising = all(run[a] <= run[b] for names in RISING for a, b in pairwise(names))
    return bool(rising and all(run[name] >= 0.0 for name in COSTS) and all((row >= 0.0).all() for row in costs)
                and run["install_hand"] >= 0.0 and run["share_acid"] <= 1.0)  # fmt: skip


def lay_out(group: Market) -> Blocks:
    """Blocks of a market, families and materials in their order, cheaper options first within a material."""
    per_m = group.constants[O["cost_pipe"]]
    coils, set_of = np.unique(group.coils, axis=0, return_inverse=True)
    set_of = set_of.reshape(-1).astype(np.int64)
    order = np.lexsort((np.arange(len(per_m)), per_m, group.materials, group.families))
    number: list[NDArray[np.int64]] = []
    material: list[int] = []
    kin: list[int] = []
    sold: list[int] = []
    for family in range(len(FAMILIES)):
        for stuff in dict.fromkeys(group.materials[group.families == family]):
            alike = order[(group.materials[order] == stuff) & (group.families[order] == family)]
            for coil in dict.fromkeys(set_of[alike]):
                own = alike[set_of[alike] == coil]
                own = np.concatenate([np.sort(own[k : k + LANES]) for k in range(0, len(own), LANES)])
                whole = -(-len(own) // LANES) * LANES
                number.append(np.append(own, np.repeat(own[-1], whole - len(own))))
                for found, value in ((material, stuff), (kin, family), (sold, coil)):
                    found += [value] * (whole // LANES)
    lanes = np.concatenate(number).astype(np.int64)
    ideal = np.empty((len(OPTION), len(material)))
    for name, place in O.items():
        blocks = group.constants[place][lanes].reshape(-1, LANES)
        ideal[place] = blocks.max(axis=1) if name in MORE_IS_BETTER else blocks.min(axis=1)
    ideal[O["turbulent_4000"]] = LAMINAR_MOST
    # less stress along one axis may be more of the three together: no bound but none
    ideal[[O[name] for name in ("stress_pull", "stress_hoop", "stress_radial")]] = 0.0
    least = group.table[:, lanes].reshape(ROWS, -1, LANES).min(axis=2)
    ideal_table = np.minimum(least, LAMINAR_MOST) * TABLE_SLACK
    count = -(-len(material) // IDEALS) * IDEALS if _bounds_hold(group) else 0
    pick = np.minimum(np.arange(count), len(material) - 1)
    stuffs, sets = np.array(material, np.int64), np.array(sold, np.int64)
    return Blocks(
        _packed(group.constants[:, lanes], LANES), _aligned(group.table[:, lanes].reshape(ROWS, -1, LANES)), stuffs,
        lanes.reshape(-1, LANES), np.array(kin, np.int64), coils, sets,
        _packed(ideal[:, pick], IDEALS), _aligned(ideal_table[:, pick].reshape(ROWS, -1, IDEALS)),
        stuffs[pick].reshape(-1, IDEALS), sets[pick].reshape(-1, IDEALS),
    )  # fmt: skip
