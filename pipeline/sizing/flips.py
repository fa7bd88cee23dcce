"""Which single input would turn the choice: each set to an end of its band, all others left at their base."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.settings import Settings
from pipeline.sizing.choose import cheapest
from pipeline.sizing.constants import Market
from pipeline.sizing.inputs import Floats
from pipeline.sizing.layout import W

# input codes of codes/flip_input.csv with the kernel values that move with each
MOVES: dict[str, tuple[str, ...]] = {
    "level": ("head", "level_static", "level_pumping"),
    "flow": ("flow",),
    "setting": ("length", "depth_pump"),
    "acidity": ("ph",),
    "chloride": ("chloride",),
    "shutoff": ("ratio_shutoff",),
    "temperature": ("temperature", "gamma", "viscosity"),
    "bore": ("bore",),
    "pump_mass": ("weight_pump", "volume_pump"),
}
PRIORS = {"acidity": "prior_acidity", "chloride": "prior_chloride"}  # what is not recorded may come to these ends


def flips(
    group: Market, inputs: dict[str, Floats], warmth: Floats, chosen: NDArray[np.int64], looked: NDArray[np.bool_],
    settings: Settings,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:  # fmt: skip
    """The first input, in the order of MOVES, that makes another family the choice; else another size.

    Parameters
    ----------
    inputs : dict of ndarray (n, values)
        Kernel inputs at "", "_low" and "_high".
    warmth : ndarray (n, materials)
        Temperature factors at the base.
    chosen : ndarray of int64 (n)
    looked : ndarray of bool (n)
        Wells to look at; wells without a choice are left out.

    Returns
    -------
    code, option : ndarray of int64 (n)
        Place in MOVES, -1 for none; the option that it makes the choice, -1 where none would pass.
    """
    n = len(chosen)
    code, option, rank = np.full(n, -1, np.int64), np.full(n, -1, np.int64), np.zeros(n, np.int8)
    base = inputs[""]
    for place, (name, moved) in enumerate(MOVES.items()):
        columns = [W[value] for value in moved]
        for end in ("_low", "_high"):
            to = inputs[end][:, columns]
            if name in PRIORS:
                prior = settings.practice[PRIORS[name]]
                unknown = np.isnan(base[:, columns])
                to = np.where(unknown, prior.low if end == "_low" else prior.high, to)
            differs = (to != base[:, columns]) & ~np.isnan(to)
            rows = np.flatnonzero(looked & (chosen >= 0) & (rank < 2) & differs.any(axis=1))
            if not len(rows):
                continue
            trial = base[rows]
            trial[:, columns] = to[rows]
            found = cheapest(group, trial, None if name == "temperature" else warmth[rows])
            own = chosen[rows]
            there = np.maximum(found, 0)
            other = (found < 0) | (group.families[there] != group.families[own])
            now = np.where(other, 2, np.where(group.sizes[there] != group.sizes[own], 1, 0)).astype(np.int8)
            better = now > rank[rows]
            at = rows[better]
            code[at], option[at], rank[at] = place, found[better], now[better]
    return code, option
