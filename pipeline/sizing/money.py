"""Present cost: yearly sums and renewals brought to today, a visit to the well, and declared penalties."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.compiled import scalar
from pipeline.physics.water import GRAVITY


def annuity_factor(rate: float, years: float) -> float:
    """Present worth of one a year, paid at each year's end for ``years`` years. [1]"""
    return years if rate == 0 else (1.0 - (1.0 + rate) ** -years) / rate


def renewals_factor(life_years: ArrayLike, rate: float, years: float) -> NDArray[np.float64]:
    """Present worth of renewing one thing at the end of each life within the horizon. [1]

    Parameters
    ----------
    life_years : array_like
        Life of the thing, years; NaN gives NaN.
    """
    life = np.asarray(life_years, dtype=np.float64)
    total = np.where(np.isnan(life), np.nan, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        most = int(np.nanmax(np.ceil(years / life))) if np.isfinite(life).any() else 0
        for count in range(1, most + 1):
            due = count * life
            total = total + np.where(due < years, (1.0 + rate) ** -due, 0.0)
    return total


@scalar
def _visit(load, lift_hand, lift_roller, lift_winch, hand, roller, winch, hoist):
    """How the largest load pulled is handled (0 hand, 1 roller, 2 winch, 3 hoist) and what a visit costs.

    ``load`` is in newtons and the lifts are masses in kilograms.
    """
    by_winch, by_roller = load <= lift_winch * GRAVITY, load <= lift_roller * GRAVITY
    by_hand = load <= lift_hand * GRAVITY
    method = 3.0 - (1.0 if by_winch else 0.0) - (1.0 if by_roller else 0.0) - (1.0 if by_hand else 0.0)
    cost = winch if by_winch else hoist
    cost = roller if by_roller else cost
    cost = hand if by_hand else cost
    return method, cost


@scalar
def _money(length, bought, joints, splices, fixed, pipe, per_m, per_joint, renewals_neutral, renewals_acid, share_acid,
           visit, pulls, energy):  # fmt: skip
    """Goods, goods with putting in, and present cost over the horizon; pipe is paid for as it is sold."""
    goods = fixed + pipe * bought + per_m * length + per_joint * (joints + splices)
    first = goods + visit
    renewals = renewals_neutral * (1.0 - share_acid) + renewals_acid * share_acid
    return goods, first, first + visit * pulls + first * renewals + energy


@scalar
def _penalties(present, joints, splices, total, velocity, friction, depth_pump, chloride_use, dead_head_use,
               joint_penalty, glued_penalty, band_head, each_splice, depth_glued, band, chemistry, dead_head, soft,
               velocity_limit, friction_limit):  # fmt: skip
    """Declared penalties in currency: joints, splices, glue at depth, head band, cautions, judgement limits."""
    fast = velocity * velocity_limit
    lossy = friction / (total * friction_limit)
    # what is known early comes first: the sum does not wait
    out = joints * joint_penalty + splices * each_splice
    out += glued_penalty if depth_pump > depth_glued else 0.0
    out += chemistry if chloride_use > 1.0 else 0.0
    out += soft * fast if fast > 1.0 else 0.0
    out += dead_head if dead_head_use > 1.0 else 0.0
    out += soft * lossy if lossy > 1.0 else 0.0
    return out + (present * band if total > band_head else 0.0)
