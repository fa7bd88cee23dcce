"""Lists of the user's own that other commands read (branches, goods, prices): known by header, never wells."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from pipeline import schema
from pipeline.ingest.intake import ON_PURPOSE


@cache
def _lists() -> dict[str, tuple[frozenset[str], frozenset[str]]]:
    """Columns that each list must have, and all that it may have."""
    must: dict[str, set[str]] = {}
    may: dict[str, set[str]] = {}
    for row in schema.rows("stock_columns"):
        may.setdefault(row["file"], set()).add(row["column"])
        if row["required"] == "yes":
            must.setdefault(row["file"], set()).add(row["column"])
    prices = set(schema.rows("prices")[0])
    must["prices"], may["prices"] = {"item_id", "price"}, prices
    return {name: (frozenset(must[name]), frozenset(may[name])) for name in may}


def own_list(cells: Iterable[str]) -> str:
    """Why a table with these headers is left aside, where it is a list of the user's own; else ""."""
    names = {cell.strip().lower() for cell in cells}
    for name, (must, may) in _lists().items():
        if must <= names <= may and len(names) > 1:
            return f"{ON_PURPOSE[2]}the user's own list of {name}, for a settings file or another command."
    return ""
