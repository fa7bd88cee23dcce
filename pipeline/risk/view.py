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
BASES = tuple(schema.codes("basis"))
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
        self._known: dict[str, Flags] = {}
        self._numbers: dict[str, Floats] = {}
        self._coded: dict[str, tuple[NDArray[np.intp], list[object]]] = {}

    def __len__(self) -> int:
        return len(self.keys)

    def _held(self, name: str) -> pd.Series | None:
        """A column of one of the frames, None where it is absent.

        Raises
        ------
        SchemaError
            When the place before the dot is not known.
        """
        place, _, field = name.partition(".")
        if place not in PLACES:
            raise SchemaError(f"rules.csv: '{name}' must begin with one of {PLACES}.")
        if place in ("run", "option"):
            return None
        frame = self._frames[place]
        return frame.get(field)

    def coded(self, name: str) -> tuple[NDArray[np.intp], list[object]]:
        """A text column as places in a short list of its words; -1 where missing."""
        if name not in self._coded:
            place, _, field = name.partition(".")
            held = self._held(name)
            if place == "run":
                words: list[object] = [self.settings.as_of] if self.settings.as_of else []
                index = np.full(len(self), len(words) - 1, np.intp)
            elif place == "option":
                index, chosen = self.coded("selection.option_id")
                texts = self._options[field].to_dict() if field in self._options else {}
                words = [texts.get(option) or None for option in chosen]
                gone = np.array([word is None for word in words] + [True])
                index = np.where(gone[index], -1, index)
            elif held is None:
                index, words = np.full(len(self), -1, np.intp), []
            else:
                index, found = pd.factorize(held)
                words = list(found)
            self._coded[name] = index, words
        return self._coded[name]

    def known(self, name: str) -> Flags:
        """Where a column holds something."""
        if name not in self._known:
            held = self._held(name)
            if held is not None:
                self._known[name] = held.notna().to_numpy(bool)
            else:
                self._known[name] = self.coded(name)[0] >= 0
        return self._known[name]

    def has(self, needs: str) -> Flags:
        """Where all of the needs are met: names parted by ``|``, alternatives within one by ``/``."""
        met = np.ones(len(self), bool)
        for need in filter(None, needs.split("|")):
            met = met & np.logical_or.reduce([self.known(name) for name in need.split("/")])
        return met

    def number(self, name: str) -> Floats:
        """A column as numbers, NaN where missing."""
        if name not in self._numbers:
            held = self._held(name)
            if held is None:
                self._numbers[name] = np.full(len(self), np.nan)
            else:
                self._numbers[name] = pd.to_numeric(held, errors="coerce").to_numpy(float, na_value=np.nan)
        return self._numbers[name]

    def truth(self, name: str) -> Flags:
        """Where a yes-or-no column says yes."""
        return self.is_in(name, (True,))

    def denied(self, name: str) -> Flags:
        """Where a yes-or-no column says no."""
        return self.is_in(name, (False,))

    def is_in(self, name: str, words: Iterable[object]) -> Flags:
        """Where a coded column holds one of the codes."""
        index, found = self.coded(name)
        wanted = set(words)
        return np.array([word in wanted for word in found] + [False])[index]

    def contains(self, name: str, text: str) -> Flags:
        """Where a text column holds a piece of text."""
        index, found = self.coded(name)
        return np.array([text in str(word) for word in found] + [False])[index]

    def age_years(self, name: str) -> Floats:
        """Years from a date to the as-of date; negative for later dates, NaN where either is missing. [a]"""
        if not self.settings.as_of:
            return np.full(len(self), np.nan)
        index, found = self.coded(name)
        dates = pd.to_datetime(pd.Series([*found, None], dtype=object), errors="coerce")
        days = (pd.Timestamp(self.settings.as_of) - dates).dt.total_seconds() / 86400.0
        return np.asarray(days.to_numpy(float)[index] / _DAYS_PER_YEAR)

    def basis(self, name: str, rows: NDArray[np.intp]) -> NDArray[np.int32]:
        """How a column is known in some rows, as a place in BASES: the basis beside a design value, else by table."""
        place, _, field = name.partition(".")
        bare = field.removesuffix("_low").removesuffix("_high")
        beside = f"design.{schema.stem(bare)}_basis_code"
        if place == "design" and self._held(beside) is not None:
            index, words = self.coded(beside)
            return np.array([BASES.index(str(word)) for word in (*words, "assumed")], np.int32)[index[rows]]
        word = "recorded" if place in ("wells", "not_recorded", "run") else "derived"
        return np.full(len(rows), BASES.index(word), np.int32)

    def base(self, practice_id: str) -> float:
        """Base of a practice value, SI."""
        return self.settings.base(practice_id)
