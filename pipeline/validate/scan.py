"""All rules as one DuckDB scan: a bit mask a row, unpacked into issues and counts.

Stages before have filled ``wells``; nothing is removed here. NaN and missing are the same thing: a row
that lacks what a rule needs is not judged by it, which the counts say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline import schema
from pipeline.settings import Settings
from pipeline.validate.context import region_middles, typed
from pipeline.validate.rules import ADDED, RULES_PER_MASK, Rule, allowed_shares, declared, losses

_PASSED_ON = ("source_id", "well_id", "source_file", "source_row")
METRIC_COLUMNS = [column.field.name for column in schema.table("metrics")]


def _present(rule: Rule) -> str:
    """SQL that holds where every needed column is present."""
    return " AND ".join(f"{name} IS NOT NULL" for name in rule.needs) or "true"


def mask_sql(rules: Sequence[Rule]) -> list[str]:
    """SQL of each bit mask, at most 60 rules in one BIGINT."""
    masks = []
    for start in range(0, len(rules), RULES_PER_MASK):
        bits = [
            f"CASE WHEN {_present(rule)} AND ({rule.test}) THEN {1 << bit}::BIGINT ELSE 0::BIGINT END"
            for bit, rule in enumerate(rules[start : start + RULES_PER_MASK])
        ]
        masks.append(" | ".join(bits))
    return masks


def _bounded(wells: pd.DataFrame, rules: Sequence[Rule]) -> pa.Table:
    """Only the columns that the rules read, typed, with the row's place."""
    names = dict.fromkeys(["source_id", "area_code", "region_code", *(n for rule in rules for n in rule.reads)])
    arrays = {name: typed(wells, name) for name in names}
    return pa.table({"place": pa.array(np.arange(len(wells), dtype=np.int64)), **arrays})


def _joined(base: duckdb.DuckDBPyConnection, wells: pa.Table, regions: pd.DataFrame, as_of: str) -> str:
    """Register the inputs; SQL of the wells with the added columns."""
    base.register("bare", wells)
    base.register("regions", pa.Table.from_pandas(regions, preserve_index=False))
    day = f"DATE '{np.datetime64(as_of, 'D')}'" if as_of else "NULL::DATE"
    added = ", ".join(f"regions.{name}" for name in ADDED if name != "as_of_date")
    return (
        f"SELECT bare.*, {day} AS as_of_date, {added} FROM bare LEFT JOIN regions "
        "ON bare.area_code IS NOT DISTINCT FROM regions.area_code AND bare.region_code = regions.region_code"
    )


def scan(
    wells: pd.DataFrame, settings: Settings, regions: pd.DataFrame | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Judge every well by every rule.

    Parameters
    ----------
    wells : DataFrame, n rows
        Table ``wells``; columns it lacks count as missing.
    settings : Settings
        ``as_of`` is the day the data stand for (empty: dates in the future are not judged), ``gate_overlay``
        holds allowed shares by rule code.
    regions : DataFrame, optional
        From :func:`pipeline.validate.context.region_middles` over the whole table; worked out from
        ``wells`` when left out. Give it where wells come in chunks.

    Returns
    -------
    issues : DataFrame
        Columns of the table ``issues``; one row a well and failed rule, in the order of the wells.
    metrics : DataFrame
        Columns of the table ``metrics``; one row a source and rule. A rule that judged no row has zero
        judged and a share of zero, which the gate does not count as passed.
    """
    rules = declared()
    regions = region_middles(wells) if regions is None else regions
    masks = mask_sql(rules)
    typed_wells = _bounded(wells, rules)
    counted = {sql: f"n{i}" for i, sql in enumerate(dict.fromkeys(_present(rule) for rule in rules))}
    with duckdb.connect(config={"threads": settings.threads}) as base:
        source = _joined(base, typed_wells, regions, settings.as_of)
        mask_list = ", ".join(f"{sql} AS m{i}" for i, sql in enumerate(masks))
        any_bit = " | ".join(f"m{i}" for i in range(len(masks)))
        marked = base.execute(
            f"SELECT * FROM (SELECT place, {mask_list} FROM ({source})) WHERE ({any_bit}) <> 0 ORDER BY place"
        ).fetchnumpy()
        counts = ", ".join(f"count_if({sql}) AS {name}" for sql, name in counted.items())
        judged = base.execute(
            f"SELECT coalesce(source_id, '') AS source_id, {counts} FROM ({source}) GROUP BY 1 ORDER BY 1"
        ).df()
    place = np.asarray(marked["place"], dtype=np.int64)
    words = [np.asarray(marked[f"m{i}"], dtype=np.int64) for i in range(len(masks))]
    failing = {
        rule.code: place[(words[i // RULES_PER_MASK] >> (i % RULES_PER_MASK)) & 1 == 1]
        for i, rule in enumerate(rules)
    }
    judged_by = {rule.code: judged[counted[_present(rule)]].to_numpy() for rule in rules}
    metrics = _metrics(wells, judged["source_id"].tolist(), judged_by, failing, allowed_shares(settings))
    return _issues(wells, typed_wells, rules, failing), metrics


def _metrics(
    wells: pd.DataFrame,
    sources: list[str],
    judged: dict[str, NDArray[np.int64]],
    failing: dict[str, NDArray[np.int64]],
    allowed: dict[str, float],
) -> pd.DataFrame:
    group = pd.Index(sources).get_indexer(pd.Index(wells["source_id"].fillna("").astype(object)))
    parts = [
        pd.DataFrame({
            "source_id": sources, "rule_code": code, "rows_judged_count": judged[code],
            "rows_failed_count": np.bincount(group[rows], minlength=len(sources)),
        })
        for code, rows in failing.items()
    ]  # fmt: skip
    out = pd.concat(parts, ignore_index=True)
    return _shared(out, out["rule_code"].map(allowed))


def _shared(counts: pd.DataFrame, allowed: pd.Series) -> pd.DataFrame:
    judged, failed = (counts[c].to_numpy(dtype=float) for c in ("rows_judged_count", "rows_failed_count"))
    share = np.divide(failed, judged, out=np.zeros_like(failed), where=judged > 0)
    out = counts.assign(share_failed_fraction=share, share_allowed_fraction=allowed.to_numpy(dtype=float))
    return out[METRIC_COLUMNS].sort_values(["source_id", "rule_code"], ignore_index=True)


def lost_values(issues: pd.DataFrame, wells: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Metrics of the values that normalise gave up: a fault that was emptied no longer shows in ``wells``.

    Parameters
    ----------
    issues : DataFrame
        Faults that normalise found.
    wells : DataFrame
        Wells in scope; those of a source are the ones judged.

    Returns
    -------
    DataFrame
        As the metrics of :func:`scan`: one row a source and rule that declares a share.
    """
    judged = wells["source_id"].value_counts().sort_index()
    allowed, ids = allowed_shares(settings), pd.MultiIndex.from_frame(wells[["source_id", "well_id"]])
    parts = []
    for rule in losses():
        here = issues.loc[issues["code"] == rule.code, ["source_id", "well_id"]].drop_duplicates()
        here = here[pd.MultiIndex.from_frame(here).isin(ids)]
        failed = here["source_id"].value_counts().reindex(judged.index, fill_value=0)
        parts.append(pd.DataFrame({
            "source_id": judged.index.astype(object), "rule_code": rule.code,
            "rows_judged_count": judged.to_numpy(), "rows_failed_count": failed.to_numpy(),
        }))  # fmt: skip
    out = pd.concat(parts, ignore_index=True)
    return _shared(out, out["rule_code"].map(allowed))


def merge_metrics(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Counts of several chunks as if scanned at once."""
    keys = ["source_id", "rule_code", "share_allowed_fraction"]
    sums = ["rows_judged_count", "rows_failed_count"]
    whole = pd.concat(list(parts), ignore_index=True).groupby(keys, as_index=False)[sums].sum()
    return _shared(whole, whole["share_allowed_fraction"])


def _shown(values: pa.Array, name: str) -> pa.Array:
    """Values as text, numbers rounded one digit finer than the reader is shown; a dash where missing."""
    if pa.types.is_floating(values.type):
        row = schema.suffix_of(name)
        values = pc.round(values, ndigits=int(row["decimals_si"]) + 1 if row else 3)
    return pc.fill_null(pc.cast(values, pa.string()), "-")


def _found(typed_wells: pa.Table, rule: Rule, rows: NDArray[np.int64]) -> pa.Array:
    """What stood in the columns that the rule reads."""
    parts = []
    for name in rule.reads:
        values = typed_wells[name].combine_chunks().take(pa.array(rows))
        parts.append(pc.binary_join_element_wise(pa.scalar(name), _shown(values, name), " "))
    return pc.binary_join_element_wise(*parts, "; ")


def _issues(
    wells: pd.DataFrame, typed_wells: pa.Table, rules: Sequence[Rule], failing: dict[str, NDArray[np.int64]]
) -> pd.DataFrame:
    keys = pa.table({name: typed(wells, name) for name in _PASSED_ON})
    parts, places = [], []
    for number, rule in enumerate(rules):
        rows = failing[rule.code]
        if not rule.by_row or not len(rows):
            continue
        said = {"stage": "validate", "code": rule.code, "severity_code": rule.severity, "field": rule.field}
        columns = {name: pa.repeat(text, len(rows)) for name, text in {**said, "expected": rule.expected}.items()}
        known = keys.take(pa.array(rows))
        for name in known.column_names:
            columns[name] = known[name]
        parts.append(pa.table({**columns, "found": _found(typed_wells, rule, rows)}))
        places.append(rows * len(rules) + number)
    target = schema.arrow_schema("issues")
    if not parts:
        return target.empty_table().to_pandas()
    order = np.argsort(np.concatenate(places), kind="stable")
    whole = pa.concat_tables(parts).take(pa.array(order)).combine_chunks()
    whole = whole.append_column("used", pa.nulls(len(order), pa.string()))
    return whole.select(target.names).to_pandas()
