"""Columns of wells, design, selection and chosen option side by side, one row a well."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import SchemaError
from pipeline.settings import Settings

KEY = ["source_id", "well_id"]
PLACES = ("wells", "design", "selection", "option", "run", "not_recorded")
_DAYS_PER_YEAR = 365.25

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def _aligned(frame: pd.DataFrame, keys: pd.DataFrame) -> pd.DataFrame:
    """Rows of ``frame`` in the order of ``keys``; missing where it has none."""
    same = len(frame) == len(keys) and all(bool((frame[k].to_numpy() == keys[k].to_numpy()).all()) for k in KEY)
    return frame.reset_index(drop=True) if same else keys.merge(frame, on=KEY, how="left", validate="m:1")


class View:
    """What the tests of the rules look at.

    A column is named ``place.column``. ``option`` is the row of options.csv that was chosen;
    ``run.as_of`` the as-of date; ``not_recorded`` marks what no known layout carries: it is read from
    ``wells`` where a caller's frame has it, else it is missing. An absent column is missing everywhere.
    """

    def __init__(
        self,
        wells: pd.DataFrame,
        design: pd.DataFrame,
        selection: pd.DataFrame,
        settings: Settings,
        options: pd.DataFrame | None = None,
    ):
        self.settings = settings
        self.keys = wells[KEY].reset_index(drop=True)
        found = pd.DataFrame(list(schema.rows("options"))) if options is None else options
        self._frames = {
            "wells": wells.reset_index(drop=True),
            "design": _aligned(design, self.keys),
            "selection": _aligned(selection, self.keys),
        }
        self._frames["not_recorded"] = self._frames["wells"]
        self._options = found.set_index("option_id")

    def __len__(self) -> int:
        return len(self.keys)

    def column(self, name: str) -> pd.Series:
        """One column as it stands; all missing where it is absent.

        Raises
        ------
        SchemaError
            When the place before the dot is not known.
        """
        place, _, field = name.partition(".")
        if place not in PLACES:
            raise SchemaError(f"rules.csv: '{name}' must begin with one of {PLACES}.")
        if place == "run":
            return pd.Series([self.settings.as_of or None] * len(self), dtype=object)
        if place == "option":
            chosen = self.column("selection.option_id")
            if field not in self._options:
                return pd.Series([None] * len(self), dtype=object)
            words = self._options[field].replace("", None)
            return chosen.map(words.to_dict())
        frame = self._frames[place]
        return frame[field] if field in frame else pd.Series([None] * len(self), dtype=object)

    def known(self, name: str) -> Flags:
        """Where a column holds something."""
        return self.column(name).notna().to_numpy(bool)

    def has(self, needs: str) -> Flags:
        """Where all of the needs are met: names parted by ``|``, alternatives within one by ``/``."""
        met = np.ones(len(self), bool)
        for need in filter(None, needs.split("|")):
            met &= np.logical_or.reduce([self.known(name) for name in need.split("/")])
        return met

    def number(self, name: str) -> Floats:
        """A column as numbers, NaN where missing."""
        return pd.to_numeric(self.column(name), errors="coerce").to_numpy(float, na_value=np.nan)

    def truth(self, name: str) -> Flags:
        """Where a yes-or-no column says yes."""
        return (self.column(name) == True).fillna(False).to_numpy(bool)  # noqa: E712

    def denied(self, name: str) -> Flags:
        """Where a yes-or-no column says no."""
        return (self.column(name) == False).fillna(False).to_numpy(bool)  # noqa: E712

    def is_in(self, name: str, words: Iterable[str]) -> Flags:
        """Where a coded column holds one of the codes."""
        return self.column(name).isin(list(words)).to_numpy(bool)

    def age_years(self, name: str) -> Floats:
        """Years from a date to the as-of date; negative for later dates, NaN where either is missing. [a]"""
        if not self.settings.as_of:
            return np.full(len(self), np.nan)
        dates = pd.to_datetime(self.column(name), errors="coerce")
        days = (pd.Timestamp(self.settings.as_of) - dates).dt.total_seconds() / 86400.0
        return np.asarray(days.to_numpy(float) / _DAYS_PER_YEAR)

    def basis(self, name: str) -> pd.Series:
        """How a column is known: the basis column beside a design value, else recorded or derived."""
        place, _, field = name.partition(".")
        bare = field.removesuffix("_low").removesuffix("_high")
        beside = f"{schema.stem(bare)}_basis_code"
        if place == "design" and beside in self._frames["design"]:
            return self._frames["design"][beside].fillna("assumed")
        return pd.Series(["recorded" if place in ("wells", "not_recorded", "run") else "derived"] * len(self))

    def base(self, practice_id: str) -> float:
        """Base of a practice value, SI."""
        return self.settings.base(practice_id)
