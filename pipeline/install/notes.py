"""Notes for the crew: which codes a well gets, and the sentence of each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from pipeline import schema, words
from pipeline.settings import Settings
from pipeline.units import convert

NOTES = tuple(schema.codes("install_note"))
PARTED_BY = "|"


def joined(found: dict[str, NDArray[np.bool_]], size: int) -> pd.Series:
    """Codes of every well as one text, in the order of codes/install_note.csv.

    Parameters
    ----------
    found : dict of ndarray of bool (n)
        By code; a code that is absent is true nowhere.
    """
    mask = np.zeros(size, np.int64)
    for place, code in enumerate(NOTES):
        if code in found:
            mask |= found[code].astype(np.int64) << place
    kinds, index = np.unique(mask, return_inverse=True)
    texts = [PARTED_BY.join(code for place, code in enumerate(NOTES) if kind >> place & 1) for kind in kinds.tolist()]
    coded = pa.DictionaryArray.from_arrays(pa.array(index.astype(np.int32)), pa.array(texts, pa.string()))
    return pd.Series(coded.cast(pa.string()), dtype=pd.ArrowDtype(pa.string()))


def sentences(codes: str, settings: Settings, units: str = "us") -> list[str]:
    """Sentences of the codes of one well, with the limits in the units asked for.

    Parameters
    ----------
    codes : str
        As in the column ``install_note_codes``.
    units : str
        ``us`` or ``metric``.
    """
    base, is_us = settings.base, units != "metric"

    def shown(value: float, unit: str, us: str, label: str, label_us: str) -> str:
        return f"{float(convert(value, unit, us)):.0f} {label_us}" if is_us else f"{value:.3g} {label}"

    values = {
        "stop": shown(base("distance_power_line_stop"), "m", "ft", "m", "ft"),
        "clear": shown(base("distance_power_line_clear"), "m", "ft", "m", "ft"),
        "person": shown(base("lift_person"), "kg", "lb", "kg", "lb"),
        "cold": shown(base("temperature_coil_cold"), "degC", "degF", "°C", "°F"),
    }
    return [words.say(f"install.{code}", **values) for code in codes.split(PARTED_BY) if code]
