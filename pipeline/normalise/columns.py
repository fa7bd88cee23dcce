"""One raw table to canonical columns, by the column map of its layout. Works row by row: chunks equal the whole."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.ingest.intake import only_rows
from pipeline.normalise import codes, coordinates, dates, numbers, phrases, quantities, text, totals
from pipeline.normalise.issues import IssueLog
from pipeline.units import line, typed

if TYPE_CHECKING:
    from pipeline.ingest.intake import RawTable
    from pipeline.ingest.layouts import ColumnMap, Layout, TableMap

# columns of a block that are not canonical
ENTRY, KIND, EVENT_DATE, REASON, SORT = "_entry", "_kind", "_event_date", "_reason", "_sort"
KEYS = ["source_id", "well_id", "source_file", "source_table", "source_line", "source_row"]


@dataclass
class Reader:
    """What every column of a source needs to know.

    Attributes
    ----------
    layout : Layout
    market : str
        us or metric.
    latest : date or None
        Later dates are faults.
    log : IssueLog
    files : list of str
        Names of all files of the source, sorted; file and table names are kept as categories.
    threads : int
        Columns read at the same time; the outcome does not depend on it.
    totals : list of DataFrame
        Lines of totals left out so far: KEYS, reason_code, detail and ENTRY.
    """

    layout: Layout
    market: str
    latest: date | None
    log: IssueLog
    files: list[str]
    threads: int = 1
    totals: list[pd.DataFrame] = field(default_factory=list)
    _coded: dict[str, text.Coded] = field(default_factory=dict)

    def block(self, raw: RawTable, entry: int) -> pd.DataFrame:
        """Canonical columns of one raw table, with its keys and the ledger entry it belongs to.

        Returns
        -------
        DataFrame
            KEYS, the canonical fields the layout maps, and the columns ENTRY, REASON (why the record is left
            out), SORT (place among the rows of its well); for wells tables also KIND and EVENT_DATE.
        """
        table = self.layout.tables[raw.table]
        self._coded.clear()
        raw = self._without_totals(raw, table, entry)
        out = self._keys(raw, table)
        self._warm(table)
        with ThreadPoolExecutor(max(self.threads, 1)) as pool:
            headers = {h for c in table.columns.values() for h in c.raw_columns()}
            list(pool.map(lambda header: self.coded(raw, header), sorted(headers)))
            comma = self._decimal_comma(raw, table, out)
            keys = out.copy(deep=False)
            jobs = list(table.columns.items())
            read = list(pool.map(lambda job: self._column(raw, job[0], job[1], comma, keys), jobs))
        whole: dict[str, Any] = {str(key): values for key, values in out.items()}
        for found in read:
            for key, values in found.items():
                if key not in whole:
                    whole[key] = values
                elif key == "is_flowing":
                    whole[key] = whole[key].fillna(values)
        # the columns as they are: set one by one, each would be copied
        out = pd.DataFrame(whole, index=out.index, copy=False)
        for name, column in table.columns.items():
            self._finish(out, name, column, raw)
        out[REASON] = self._reasons(raw, table, len(out))
        out[SORT] = self._sort(raw, table)
        if table.role == "wells":
            out[KIND], out[EVENT_DATE] = self._events(raw, out)
        out[ENTRY] = np.full(len(out), entry, dtype=np.int32)
        self._coded.clear()
        return out

    def _without_totals(self, raw: RawTable, table: TableMap, entry: int) -> RawTable:
        """The raw table without lines that sum it up; those are kept in ``totals``."""
        at = totals.find(raw.frame, table, self.layout.missing)
        if not len(at):
            return raw
        left = replace(raw, frame=raw.frame.iloc[at].reset_index(drop=True))
        told = self._keys(left, table)[KEYS].assign(
            reason_code=totals.REASON_CODE, detail="a line of totals, not a record", **{ENTRY: np.int32(entry)}
        )
        self.totals.append(told)
        kept = np.ones(len(raw.frame), dtype=bool)
        kept[at] = False
        return replace(raw, frame=only_rows(raw.frame, kept))

    def _warm(self, table: TableMap) -> None:
        """Work out the unit conversions once, before columns are read side by side."""
        for name, column in table.columns.items():
            target = schema.fields()[name].unit
            if column.unit and target:
                with suppress(UsageError):
                    line(column.unit, "s" if column.fills else target)
            if column.fills:
                typed(column.fills, "m**3")

    def coded(self, raw: RawTable, header: str) -> text.Coded | None:
        """A raw column by its header, or None where the file lacks it."""
        if header not in self._coded:
            try:
                column = raw.column(header)
            except KeyError:
                return None
            self._coded[header] = text.encode(column)
        return self._coded[header]

    def _keys(self, raw: RawTable, table: TableMap) -> pd.DataFrame:
        size = len(raw.frame)
        out = pd.DataFrame(index=pd.RangeIndex(size))
        lists = {"source_id": [raw.source_id], "source_file": self.files, "source_table": sorted(self.layout.tables)}
        for name, value in (("source_id", raw.source_id), ("source_file", raw.file), ("source_table", raw.table)):
            places = np.full(size, lists[name].index(value), dtype=np.int16)
            out[name] = pd.Categorical.from_codes(places, pd.Index(lists[name]))
        out["source_line"] = raw.frame["_line"].to_numpy()
        out["source_row"] = raw.frame["_row"].to_numpy()
        out["well_id"] = self._ids(raw, table)
        return out

    def _ids(self, raw: RawTable, table: TableMap) -> pd.Series:
        if not table.id:
            number = pa.array(raw.frame["_row"].to_numpy()).cast(pa.string())
            many = pc.binary_join_element_wise(pa.scalar(raw.file), number, "#")
            return text.as_series(many.cast(pa.large_string()))
        parts = []
        for header in table.id:
            try:
                texts = pc.utf8_trim_whitespace(text.plain(raw.column(header)))
            except KeyError:
                texts = pa.nulls(len(raw.frame), pa.string())
            lost = pa.array(text.is_in(texts, text.missing_words((*self.layout.missing, ""))))
            texts = pc.if_else(lost, pa.scalar(None, pa.string()), texts)
            # identifiers that a spreadsheet made decimals: 14082.0 in every row
            decimals = pc.any(pc.ends_with(texts, ".0")).as_py()
            if decimals and pc.all(pc.match_substring_regex(texts, r"^\d+\.0+$")).as_py():
                texts = pc.replace_substring_regex(texts, r"\.0+$", "")
            parts.append(texts)
        if len(parts) == 1:
            return text.as_series(parts[0].cast(pa.large_string()))
        none = pc.is_null(parts[0])
        for part in parts[1:]:
            none = pc.and_(none, pc.is_null(part))
        joined = pc.binary_join_element_wise(*[pc.fill_null(p, "") for p in parts], "-")
        return pd.Series(pc.if_else(none, pa.scalar(None, pa.string()), joined), dtype="str")

    def _decimal_comma(self, raw: RawTable, table: TableMap, keys: pd.DataFrame) -> bool:
        """Whether the file writes decimal commas: more texts can only be that than can only be decimal dots."""
        commas = dots = 0
        for name, column in table.columns.items():
            if schema.fields()[name].type not in ("number", "integer"):
                continue
            for header in column.sources:
                coded = self.coded(raw, header)
                if coded is not None and pc.any(pc.match_substring(coded.texts, ",")).as_py():
                    found = numbers.comma_evidence(coded.texts)
                    commas, dots = commas + found[0], dots + found[1]
                elif coded is not None and commas:
                    dots += numbers.comma_evidence(coded.texts)[1]
        if commas > dots:
            self.log.once("N107", "", keys, f"{commas} texts with a decimal comma, {dots} with a dot",
                          "a decimal dot", "comma read as decimal")  # fmt: skip
        return commas > dots

    def _column(
        self, raw: RawTable, name: str, column: ColumnMap, comma: bool, keys: pd.DataFrame
    ) -> dict[str, Any]:
        """Values of one canonical field; the first source column that is not missing wins."""
        where = self._where(raw, column)
        out: dict[str, Any] = {}
        for header in column.sources:
            coded = self.coded(raw, header)
            if coded is None:
                continue
            if where is not None:
                coded = coded.only(where)
            found = self._typed(raw, name, column, coded, comma, keys)
            for key, values in found.items():
                out[key] = values if key not in out else _first(out[key], values)
        return out or {name: _empty(name, len(keys))}

    def _where(self, raw: RawTable, column: ColumnMap) -> NDArray[np.bool_] | None:
        mask: NDArray[np.bool_] | None = None
        for header, allowed in column.where.items():
            coded = self.coded(raw, header)
            wanted = {text.fold(word) for word in allowed}
            if coded is None:
                here = np.full(len(raw.frame), "" in wanted)
            else:
                fits = np.array([text.fold(t) in wanted for t in coded.texts.to_pylist()], dtype=bool)
                here = coded.spread(fits, "" in wanted)
            mask = here if mask is None else mask & here
        return mask

    def _typed(
        self, raw: RawTable, name: str, column: ColumnMap, coded: text.Coded, comma: bool, keys: pd.DataFrame
    ) -> dict[str, Any]:
        declared = schema.fields()[name]
        missing = (*self.layout.missing, *column.missing)
        if declared.type in ("number", "integer"):
            if column.codes:
                coded = _recoded(coded, column.codes)
            if column.phrase:
                coded = phrases.cut(coded, column.phrase)
            if name in coordinates.FIELDS:
                coded = coordinates.plain(coded, name)
            if column.fills:
                return {name: self._filling(coded, name, column, missing, comma, keys)}
            words = self.coded(raw, column.unit_from) if column.unit_from else None
            found = quantities.read(coded, name, column.unit, words, missing, column.positive, comma, keys,
                                    self.log)  # fmt: skip
            values = found.values
            if name not in ("latitude_deg", "longitude_deg") and not column.minus:
                values = quantities.check_range(values, name, keys, self.log, found.raw)
            out: dict[str, Any] = {name: values}
            if name in ("depth_static_m", "flow_tested_m3_per_s") and found.flowing.any():
                out["is_flowing"] = pd.Series(found.flowing, dtype="boolean").where(found.flowing)
            return out
        if declared.type == "date":
            order = column.date_order or self.layout.date_order
            days, precision = dates.read(coded, name, order, self.market, self.latest, missing, keys, self.log)
            out = {name: days}
            if name == "completed_date":
                out["completed_precision_code"] = precision
            return out
        if declared.type == "code":
            return {name: codes.read(coded, name, column.codes, missing, keys, self.log)}
        if declared.type == "boolean":
            return {name: codes.read_boolean(coded, name, column.codes, missing, keys, self.log)}
        coded = coded.without(text.lost(coded, missing))
        known = {text.fold(k): v for k, v in column.codes.items()}
        labels = [known.get(text.fold(t), " ".join(t.split())) for t in coded.texts.to_pylist()]
        return {name: codes.labelled(coded, labels)}

    def _filling(
        self, coded: text.Coded, name: str, column: ColumnMap, missing: tuple[str, ...], comma: bool, keys: pd.DataFrame
    ) -> NDArray[np.float64]:
        """Flow from the time to fill a volume."""
        found = quantities.read(coded, "duration_test_s", column.unit, None, missing, True, comma, keys, self.log)
        volume = typed(column.fills, "m**3")
        flow = np.divide(volume, found.values, out=np.full(len(keys), np.nan), where=found.values > 0)
        return quantities.check_range(flow, name, keys, self.log, found.raw)

    def _finish(self, out: pd.DataFrame, name: str, column: ColumnMap, raw: RawTable) -> None:
        """Subtract what the column is counted from, then fill the constant."""
        declared = schema.fields()[name]
        if column.minus:
            # a level below a casing top of unknown height stays as found: the step is within a metre
            values = out[name].to_numpy(copy=True)
            if column.minus in out:
                values = values - np.nan_to_num(out[column.minus].to_numpy(), nan=0.0)
            out[name] = quantities.check_range(values, name, out, self.log)
        if not column.default:
            return
        if declared.type in ("number", "integer"):
            one = text.encode(pd.Series([column.default], dtype="str"))
            quiet = IssueLog()
            given = quantities.read(one, name, column.unit, None, (), False, False, out.iloc[:1], quiet).values[0]
            out[name] = out[name].fillna(given)
        elif declared.type == "boolean":
            out[name] = out[name].fillna(text.fold(column.default) in ("true", "yes", "1"))
        elif declared.type != "date":
            out[name] = out[name].fillna(column.default)

    def _reasons(self, raw: RawTable, table: TableMap, size: int) -> pd.Series:
        out = text.as_series(pa.nulls(size, pa.large_string()))
        for header, prefixes in sorted(self.layout.exclusions(table.name).items()):
            coded = self.coded(raw, header)
            if coded is not None:
                found = codes.by_prefix(coded, {k: v for k, v in prefixes.items() if k})
                if "" in prefixes:
                    found = found.where((coded.codes >= 0) | found.notna(), prefixes[""])
                out = out.fillna(found)
        return out

    def _sort(self, raw: RawTable, table: TableMap) -> NDArray[np.int64]:
        coded = self.coded(raw, table.order_by) if table.order_by else None
        if coded is None:
            return np.zeros(len(raw.frame), dtype=np.int64)
        quiet = IssueLog()
        keys = pd.DataFrame({"source_id": [""] * len(raw.frame), "source_file": "", "well_id": "", "source_row": 0})
        days, _ = dates.read(coded, "event_date", self.layout.date_order, self.market, None, (), keys, quiet)
        order = np.where(np.isnat(days), np.nan, days.astype("datetime64[D]").astype(np.float64))
        use = order
        if np.isnat(days[coded.codes >= 0]).any():  # no dates, or not all: perhaps numbers
            plain = coded.spread(numbers.parse_all(coded.texts).values, np.nan)
            use = order if np.isfinite(order).sum() >= np.isfinite(plain).sum() else plain
        return np.where(np.isnan(use), np.iinfo(np.int64).min // 2, np.nan_to_num(use * 1000)).astype(np.int64)

    def _events(self, raw: RawTable, keys: pd.DataFrame) -> tuple[pd.Series, NDArray[np.datetime64]]:
        size = len(keys)
        kind = text.series(pa.array(["construction"]), np.zeros(size, dtype=np.int32))
        coded = self.coded(raw, self.layout.kind_from) if self.layout.kind_from else None
        if coded is not None:
            kind = codes.by_prefix(coded, schema.spellings("event_kind")).fillna("construction")
        days = np.full(size, np.datetime64("NaT", "D"), dtype="datetime64[D]")
        coded = self.coded(raw, self.layout.date_from) if self.layout.date_from else None
        if coded is not None:
            days, _ = dates.read(coded, "event_date", self.layout.date_order, self.market, self.latest,
                                 self.layout.missing, keys, self.log)  # fmt: skip
        return kind, days


def _first(left: Any, right: Any) -> Any:
    """Left where it is known, else right."""
    if isinstance(left, np.ndarray):
        if left.dtype.kind == "i":
            return np.where(left == 0, right, left)
        return np.where(pd.isna(left), right, left)
    return left.fillna(right)


def _empty(name: str, size: int) -> Any:
    """A column of a field without any value."""
    kind = schema.fields()[name].type
    if kind in ("number", "integer"):
        return np.full(size, np.nan)
    if kind == "date":
        return np.full(size, np.datetime64("NaT", "D"), dtype="datetime64[D]")
    if kind == "boolean":
        return pd.Series(pd.arrays.BooleanArray(np.zeros(size, dtype=bool), np.ones(size, dtype=bool)), copy=False)
    return text.as_series(pa.nulls(size, pa.large_string()))


def _recoded(coded: text.Coded, codes_map: dict[str, str]) -> text.Coded:
    """Distinct texts replaced where a layout says what number a word stands for."""
    known = {text.fold(k): v for k, v in codes_map.items()}
    texts = pa.array([known.get(text.fold(t), t) for t in coded.texts.to_pylist()], type=pa.string())
    return text.Coded(coded.codes, texts)
