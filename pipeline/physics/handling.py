"""What people lift, and how many pieces a string is cut into."""

from __future__ import annotations

import numpy as np

from pipeline.compiled import arrays, scalar

LOAD_CONSTANT_KG = 23.0  # load of an ideal lift by one person (source: niosh_94_110)


@scalar
def _mass_lift_kg(
    reach_m: float, height_m: float, travel_m: float, twist_deg: float, factor_frequency: float,
    factor_grip: float,
) -> float:  # fmt: skip
    """Recommended weight limit of one person's lift, NIOSH equation.

    Parameters
    ----------
    reach_m, height_m, travel_m : array_like, broadcast
        Hands ahead of the ankles, hands above the floor at the start, rise of the load. [m]
    twist_deg : array_like, broadcast
        Angle of asymmetry. [deg]
    factor_frequency, factor_grip : array_like, broadcast
        From the tables of the manual. [1]

    Returns
    -------
    ndarray
        Mass [kg]; 0 beyond the reach (63 cm), height (175 cm), travel (175 cm) or twist (135 deg) of the
        equation. It knows nothing of two-person lifts or of pulling from below ground.
        Source: ``niosh_94_110``.
    """
    if not (reach_m <= 0.63 and 0.0 <= height_m <= 1.75 and travel_m <= 1.75 and twist_deg <= 135.0):
        return 0.0 * (reach_m + height_m + travel_m + twist_deg)
    reach = 0.25 / max(reach_m, 0.25)
    height = 1.0 - 0.3 * abs(height_m - 0.75)
    travel = 0.82 + 0.045 / max(travel_m, 0.25)
    twist = 1.0 - 0.0032 * twist_deg
    return LOAD_CONSTANT_KG * reach * height * travel * twist * factor_frequency * factor_grip


@scalar
def _piece_count(length_m: float, piece_m: float) -> float:
    """Pieces that make up a length.

    Parameters
    ----------
    length_m, piece_m : array_like, broadcast
        Length wanted and length of a piece. [m]

    Returns
    -------
    ndarray
        Whole number; a remainder under a millimetre needs no further piece. Couplings are one fewer.
    """
    if not (piece_m > 0.0):
        return float("nan")
    return np.ceil((length_m - 1e-3) / piece_m)


mass_lift_kg = arrays(_mass_lift_kg)
piece_count = arrays(_piece_count)
