"""Fresh water between 0 and 100 degC at atmospheric pressure."""

from __future__ import annotations

from pipeline.compiled import arrays, scalar

GRAVITY = 9.80665  # standard gravity, m/s2
BULK_MODULUS_PA = 2.07e9  # design value for surge, 300,000 psi (source: joukowsky)


@scalar
def _density_kg_per_m3(temperature_degc: float) -> float:
    """Density of water.

    Parameters
    ----------
    temperature_degc : array_like
        Water temperature, 0 to 100. [degC]

    Returns
    -------
    ndarray, same shape
        Density [kg/m3]; NaN outside the range. Source: ``kell_1975``.
    """
    t = temperature_degc
    if not (0.0 <= t <= 100.0):
        return float("nan")
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - 280.54253e-12 * t)))
    )
    return top / (1.0 + 16.879850e-3 * t)


@scalar
def _viscosity_dynamic_pa_s(temperature_degc: float) -> float:
    """Dynamic viscosity of water.

    Parameters
    ----------
    temperature_degc : array_like
        Water temperature, 0 to 100. [degC]

    Returns
    -------
    ndarray, same shape
        Viscosity [Pa s]; NaN outside the range. Source: ``vogel_water``.
    """
    if not (0.0 <= temperature_degc <= 100.0):
        return float("nan")
    t = (temperature_degc + 273.15) / 300.0
    return 1e-6 * (280.68 * t**-1.9 + 511.45 * t**-7.7 + 61.131 * t**-19.6 + 0.45903 * t**-40.0)


@scalar
def _viscosity_kinematic_m2_per_s(temperature_degc: float) -> float:
    """Kinematic viscosity of water: dynamic viscosity over density.

    Parameters
    ----------
    temperature_degc : array_like
        Water temperature, 0 to 100. [degC]

    Returns
    -------
    ndarray, same shape
        Viscosity [m2/s]; NaN outside the range.
    """
    return _viscosity_dynamic_pa_s(temperature_degc) / _density_kg_per_m3(temperature_degc)


@scalar
def _weight_specific_n_per_m3(temperature_degc: float) -> float:
    """Specific weight of water, density times standard gravity.

    Parameters
    ----------
    temperature_degc : array_like
        Water temperature, 0 to 100. [degC]

    Returns
    -------
    ndarray, same shape
        Specific weight [N/m3]; NaN outside the range.
    """
    return _density_kg_per_m3(temperature_degc) * GRAVITY


density_kg_per_m3 = arrays(_density_kg_per_m3)
viscosity_dynamic_pa_s = arrays(_viscosity_dynamic_pa_s)
viscosity_kinematic_m2_per_s = arrays(_viscosity_kinematic_m2_per_s)
weight_specific_n_per_m3 = arrays(_weight_specific_n_per_m3)
