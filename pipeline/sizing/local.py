"""Rules of a place that bar options: wells by pack of rules, and what each pack takes off the market.

The rules themselves are the room ``jurisdiction``: ``packs(wells, settings)`` names the pack of each well, '' for
none, and ``barred(pack, options, settings)`` the options that it bars with the rule that does.
"""

from __future__ import annotations

import importlib
import importlib.util
from functools import lru_cache
from typing import Protocol

import pandas as pd

from pipeline.settings import Settings

PACK = "local_pack"  # column set beside the design point


class Rules(Protocol):
    """What sizing asks of the room ``jurisdiction``."""

    def packs(self, wells: pd.DataFrame, settings: Settings) -> pd.Series:
        """Pack of rules of each well, '' where none."""

    def barred(self, pack: str, options: pd.DataFrame, settings: Settings | None) -> dict[str, str]:
        """Barred option ids of a pack, each with the id of its rule."""


@lru_cache(maxsize=1)
def _rules() -> Rules | None:
    if importlib.util.find_spec("pipeline.jurisdiction") is None:
        return None
    found = importlib.import_module("pipeline.jurisdiction")
    return found if hasattr(found, "packs") and hasattr(found, "barred") else None


def with_pack(design: pd.DataFrame, wells: pd.DataFrame | None, settings: Settings) -> pd.DataFrame:
    """Design points with the pack of rules of each well, rows in the same order."""
    rules = _rules()
    if rules is None or wells is None:
        return design
    return design.assign(**{PACK: pd.Series(rules.packs(wells, settings)).to_numpy(dtype=object)})


def barred(pack: str, options: pd.DataFrame, settings: Settings) -> dict[str, str]:
    """Options that a pack bars, each with its rule; none for the empty pack."""
    rules = _rules()
    return dict(rules.barred(pack, options, settings)) if pack and rules is not None else {}
