"""What water is asked of a well, and whether the well can give it: yield rules, a day's demand, hand pumps."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def flow_least_m3_per_s(depth_m: ArrayLike, depth_from_m: ArrayLike, flow_m3_per_s: ArrayLike) -> Floats:
    """Least yield that a rule by depth asks of a well: the deeper, the more it stores, the less it must give.

    Parameters
    ----------
    depth_m : array_like, shape (n,)
        Depth of the wells. [m]
    depth_from_m, flow_m3_per_s : array_like, shape (k,)
        Steps of the rule, in rising order: past which depth [m] which least yield [m3/s]. A well at the very edge
        belongs to the shallower step, which asks more.

    Returns
    -------
    ndarray, shape (n,)
        Least yield [m3/s]; NaN where the depth is not known or not above 0. Such rules: ``reference/yield_rules.csv``.
    """
    depth = np.asarray(depth_m, float)
    steps, flows = np.asarray(depth_from_m, float), np.asarray(flow_m3_per_s, float)
    place = np.searchsorted(steps, depth, side="left") - 1
    return np.where(depth > 0, flows[np.clip(place, 0, len(flows) - 1)], np.nan)


def is_yield_short(flow_m3_per_s: ArrayLike, flow_least_m3_per_s: ArrayLike, is_exempt: ArrayLike = False) -> Flags:
    """Wells that do not show the least yield that a rule asks; one without a known yield does not show it.

    Parameters
    ----------
    flow_m3_per_s, flow_least_m3_per_s : array_like, broadcast
        Yield held for the time of the rule, and least yield. [m3/s]
    is_exempt : array_like of bool, broadcast
        Wells that the rule spares, such as those that replace another (``md_26_04_04_26``).

    Returns
    -------
    ndarray of bool
    """
    return ~(np.asarray(flow_m3_per_s, float) >= np.asarray(flow_least_m3_per_s, float)) & ~np.asarray(is_exempt, bool)


def factor_people(
    people: ArrayLike, volume_person_m3: float, duration_s: float, flow_m3_per_s: float
) -> Floats:
    """How many times a flow people ask within the hours in which they draw; never less than one.

    Parameters
    ----------
    people : array_like, shape (n,)
        People who draw from the well; NaN where not known.
    volume_person_m3, duration_s, flow_m3_per_s : float
        Water a person a day [m3], hours in which it is drawn [s], flow of one hand pump or tap stand [m3/s].

    Returns
    -------
    ndarray, shape (n,)
        1 where one is enough, and where the people are not known. Source: ``sphere`` (500 people on 17 L/min).
    """
    return np.fmax(1.0, np.asarray(people, float) * volume_person_m3 / (duration_s * flow_m3_per_s))
