"""Water against pipe: saturation of calcium carbonate, and the dose of disinfectant."""

from __future__ import annotations

import math

from pipeline.compiled import arrays, scalar


@scalar
def _term_solids(solids_mg_per_l: float) -> float:
    """Term A of the saturation pH, (log10 TDS - 1)/10.

    Parameters
    ----------
    solids_mg_per_l : array_like
        Total dissolved solids. [mg/L]

    Returns
    -------
    ndarray
        Term [1]; NaN where the quantity is not above 0. Source: ``langelier``.
    """
    if not (solids_mg_per_l > 0.0):
        return float("nan")
    return (math.log10(solids_mg_per_l) - 1.0) / 10.0


@scalar
def _term_temperature(temperature_degc: float) -> float:
    """Term B of the saturation pH, -13.12 log10(T + 273) + 34.55.

    Parameters
    ----------
    temperature_degc : array_like
        Water temperature, 0 to 90. [degC]

    Returns
    -------
    ndarray
        Term [1]. Source: ``langelier``.
    """
    return -13.12 * math.log10(temperature_degc + 273.0) + 34.55


@scalar
def _term_calcium(calcium_mg_per_l: float) -> float:
    """Term C of the saturation pH, log10 Ca - 0.4.

    Parameters
    ----------
    calcium_mg_per_l : array_like
        Calcium hardness as CaCO3. [mg/L]

    Returns
    -------
    ndarray
        Term [1]; NaN where the quantity is not above 0. Source: ``langelier``.
    """
    if not (calcium_mg_per_l > 0.0):
        return float("nan")
    return math.log10(calcium_mg_per_l) - 0.4


@scalar
def _term_alkalinity(alkalinity_mg_per_l: float) -> float:
    """Term D of the saturation pH, log10 of the alkalinity.

    Parameters
    ----------
    alkalinity_mg_per_l : array_like
        Alkalinity as CaCO3. [mg/L]

    Returns
    -------
    ndarray
        Term [1]; NaN where the quantity is not above 0. Source: ``langelier``.
    """
    if not (alkalinity_mg_per_l > 0.0):
        return float("nan")
    return math.log10(alkalinity_mg_per_l)


@scalar
def _acidity_saturation_ph(
    solids_mg_per_l: float, temperature_degc: float, calcium_mg_per_l: float, alkalinity_mg_per_l: float,
) -> float:  # fmt: skip
    """The pH at which water is just saturated with calcium carbonate.

    Parameters
    ----------
    solids_mg_per_l : array_like
        Total dissolved solids. [mg/L]
    temperature_degc : array_like, broadcast
    calcium_mg_per_l, alkalinity_mg_per_l : array_like, broadcast
        Calcium hardness and alkalinity, both as CaCO3. [mg/L]

    Returns
    -------
    ndarray
        pH, (9.3 + A + B) - (C + D); NaN where a quantity is not above 0. Source: ``langelier``.
    """
    a, b = _term_solids(solids_mg_per_l), _term_temperature(temperature_degc)
    c, d = _term_calcium(calcium_mg_per_l), _term_alkalinity(alkalinity_mg_per_l)
    return 9.3 + a + b - c - d


@scalar
def _index_langelier(acidity_ph: float, acidity_saturation_ph: float) -> float:
    """Saturation index, pH - pHs; below 0 the water dissolves scale and tends to corrode.

    Parameters
    ----------
    acidity_ph, acidity_saturation_ph : array_like, broadcast

    Returns
    -------
    ndarray
        Index [1]. Source: ``langelier``.
    """
    return acidity_ph - acidity_saturation_ph


@scalar
def _index_ryznar(acidity_ph: float, acidity_saturation_ph: float) -> float:
    """Stability index, 2 pHs - pH; above 7 the water tends to corrode, below 6 to scale.

    Parameters
    ----------
    acidity_ph, acidity_saturation_ph : array_like, broadcast

    Returns
    -------
    ndarray
        Index [1]. Source: ``langelier``.
    """
    return 2.0 * acidity_saturation_ph - acidity_ph


@scalar
def _volume_bleach_m3(volume_water_m3: float, dose_mg_per_l: float, strength_fraction: float) -> float:
    """Volume of bleach for a dose of chlorine in a volume of water.

    Parameters
    ----------
    volume_water_m3, dose_mg_per_l : array_like, broadcast
        Water to be dosed [m3], chlorine wanted [mg/L].
    strength_fraction : array_like, broadcast
        Chlorine in the bleach, weight over volume: 0.0525 holds 52.5 g/L. [1]

    Returns
    -------
    ndarray
        Volume [m3]. The label of the product and the health authority govern.
    """
    return volume_water_m3 * dose_mg_per_l / (strength_fraction * 1e6)


term_solids = arrays(_term_solids)
term_temperature = arrays(_term_temperature)
term_calcium = arrays(_term_calcium)
term_alkalinity = arrays(_term_alkalinity)
acidity_saturation_ph = arrays(_acidity_saturation_ph)
index_langelier = arrays(_index_langelier)
index_ryznar = arrays(_index_ryznar)
volume_bleach_m3 = arrays(_volume_bleach_m3)
