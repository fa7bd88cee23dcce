"""Faults found while records are read, gathered as rows of ``issues``; proposed repairs, as rows of ``repairs``."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.ingest import discreet
from pipeline.normalise.order import among, ordered

STAGE = "normalise"
KEYS = ["source_id", "well_id", "source_file", "source_row"]
COLUMNS = [*KEYS, "stage", "code", "severity_code", "field", "found", "expected", "used"]
_LONGEST = 80
# fields whose texts stand in the outputs anyway
_OPEN = ("well_id", "region_code", "area_code")
# rules that tell what a cell says, and among them those that tell a count in words of the program
_RAW, _COUNTED = ("N1", "N2", "N3", "N4"), ("N107", "N305", "N306")


@cache
def severities() -> dict[str, str]:
    """Severity of each rule code, from rules.csv."""
    return {row["code"]: row["severity"] for row in schema.rows("rules")}


class IssueLog:
    """Collects faults; rows are sorted when asked for, so that the order of the files does not matter."""

    def __init__(self, accept: Collection[str] = ()) -> None:
        self._frames: list[pd.DataFrame] = []
        self._single: list[dict[str, Any]] = []
        self._repairs: list[pd.DataFrame] = []
        self._accept = frozenset(accept)

    def accepts(self, code: str) -> bool:
        """Whether the run uses proposals of this code."""
        return code in self._accept

    def propose(
        self, code: str, field: str, keys: pd.DataFrame, at: NDArray[Any], found: Sequence[Any],
        proposed: Sequence[Any], evidence: Sequence[str] | str, strength: Sequence[str] | str, expected: str,
    ) -> bool:  # fmt: skip
        """One proposed repair a row, told as a fault too; returns whether the run uses it.

        Parameters
        ----------
        code, field, keys, at, found, expected
            As in :meth:`rows`.
        proposed : one text a position
        evidence, strength : one text a position, or one for all
        """
        taken = self.accepts(code)
        self.rows(code, field, keys, at, found, expected, list(proposed) if taken else None)
        if len(at):
            frame = keys[KEYS].iloc[at].reset_index(drop=True).astype({"source_id": "str", "source_file": "str"})
            frame["code"], frame["field"], frame["is_accepted"] = code, field, taken
            told = (("found", found), ("proposed", proposed), ("evidence", evidence), ("strength_code", strength))
            for name, texts in told:
                frame[name] = pd.Series([texts] * len(at) if isinstance(texts, str) else list(texts), dtype="str")
            self._repairs.append(frame)
        return taken

    def repairs(self) -> list[pd.DataFrame]:
        """Proposals, in the order of their making."""
        return list(self._repairs)

    def outside_range(self, field: str, since: int) -> pd.DataFrame:
        """Values of a field made missing for lying outside its possible range, since a mark."""
        found = [f for f in self._frames[since:] if f["code"].iloc[0] == "N201" and f["field"].iloc[0] == field]
        return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=[*KEYS, "found"])

    def rows(
        self, code: str, field: str, keys: pd.DataFrame, at: NDArray[Any], found: Sequence[Any],
        expected: str = "", used: Sequence[Any] | str | None = None,
    ) -> None:  # fmt: skip
        """One fault a row.

        Parameters
        ----------
        code, field : str
            Rule and canonical field.
        keys : DataFrame
            Holds source_id, well_id, source_file and source_row of every row.
        at : array of int
            Positions in ``keys``.
        found, used : one text a position, or one text for all
        expected : str
        """
        if not len(at):
            return
        frame = keys[KEYS].iloc[at].reset_index(drop=True)
        frame = frame.astype({"source_id": "str", "source_file": "str"})
        frame["code"], frame["field"], frame["expected"] = code, field, expected or None
        frame["found"] = pd.Series(list(found), dtype="str")
        same = used is None or isinstance(used, str)
        frame["used"] = pd.Series([used] * len(at) if same else list(used or ()), dtype="str")
        self._frames.append(frame)

    def once(
        self, code: str, field: str, where: pd.DataFrame | str, found: str | None, expected: str, used: str | None
    ) -> None:
        """One fault that stands for a text or a column of a file, however many rows hold it.

        ``where`` is a frame of rows of that one file, or a source_id where the fault is of a whole source.
        """
        source_id, file = (where, None) if isinstance(where, str) else place_of(where)
        self._single.append({
            "source_id": source_id, "well_id": None, "source_file": file, "source_row": None, "code": code,
            "field": field, "found": found, "expected": expected, "used": used,
        })  # fmt: skip

    def mark(self) -> int:
        """Point to which :meth:`only` looks back."""
        return len(self._frames)

    def only(self, mark: int, known: pd.Index) -> None:
        """Forget row faults since ``mark`` of ids that are no wells of the source, such as orphan child rows."""
        kept = [f[among(f["well_id"], known)] for f in self._frames[mark:]]
        self._frames[mark:] = [f for f in kept if len(f)]

    def table(self) -> pd.DataFrame:
        """All faults with the columns of the table ``issues``, in a fixed order."""
        frames = list(self._frames)
        if self._single:
            frames.append(pd.DataFrame(self._single))
        if not frames:
            return schema.arrow_schema("issues").empty_table().to_pandas()
        out = pd.concat([f.astype({"source_row": "Int64"}) for f in frames], ignore_index=True)
        known = severities()
        out["stage"], out["severity_code"] = STAGE, out["code"].map(known)
        out["found"] = _discreet(out)
        long = (out["found"].str.len() > _LONGEST).fillna(False).to_numpy(dtype=bool)
        if long.any():
            out.loc[long, "found"] = out.loc[long, "found"].str.slice(0, _LONGEST)
        for name in ("well_id", "source_file", "expected", "used", "field"):
            out[name] = out[name].astype("str")
        return ordered(out[COLUMNS], ["source_id", "source_file", "source_row", "code", "field", "found", "expected"])


def _discreet(out: pd.DataFrame) -> pd.Series:
    """What was found, without words that may be names; ids and places stand in the outputs anyway."""
    found = out["found"].astype("str")
    free = found.notna() & ~out["field"].isin(_OPEN) & out["code"].str.startswith(_RAW) & ~out["code"].isin(_COUNTED)
    texts = {text: discreet.shown(text) for text in found[free].unique()}
    return found.where(~free, found.map(texts)).astype("str")


def place_of(keys: pd.DataFrame) -> tuple[str, str | None]:
    """Source and file of the rows of one file."""
    if keys.empty:
        return "", None
    return str(keys["source_id"].iloc[0]), str(keys["source_file"].iloc[0])


def shown(values: NDArray[np.float64]) -> list[str | None]:
    """Numbers as short text for ``found`` and ``used``."""
    return [None if np.isnan(v) else f"{v:.6g}" for v in values]
