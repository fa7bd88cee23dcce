"""The gate: the validation library judges the counts, and counts a sample for itself.

Great Expectations takes seconds to load and is slow at listing rows, so it is imported only here and
only when asked. It sees two small frames: the shares by source and rule, which decide, and a sample of the
wells, on which it counts the same faults by means of its own.
"""

from __future__ import annotations

import contextlib
import io
import logging
import os
import shutil
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import Settings
from pipeline.validate import predicate
from pipeline.validate.context import region_middles, typed
from pipeline.validate.rules import ADDED, Lost, Rule, allowed_shares, declared, losses

SAMPLE_ROWS = 100_000


@dataclass(frozen=True)
class Verdict:
    """What the gate says.

    Attributes
    ----------
    passed : bool
        Every judged share lies within what is allowed, and at least one rule judged something.
    failed : list of (rule_code, source_id, share failed, share allowed)
        Shares past what is allowed. [1]
    counted : dict of rule code to (rows judged, rows failed)
        The suite's own count on the sample.
    """

    passed: bool
    failed: list[tuple[str, str, float, float]]
    counted: dict[str, tuple[int, int]] = field(default_factory=dict)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """No usage reports, no progress bars, no warnings, no log lines, nothing on stdout or stderr."""
    before = {name: os.environ.get(name) for name in ("GX_ANALYTICS_ENABLED", "TQDM_DISABLE")}
    os.environ.update({"GX_ANALYTICS_ENABLED": "false", "TQDM_DISABLE": "1"})
    level = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        nowhere = io.StringIO()
        with warnings.catch_warnings(), contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.disable(level)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def wide_shares(metrics: pd.DataFrame) -> pd.DataFrame:
    """One row a source, one column a rule: share failed, NaN where the rule judged no row."""
    share = metrics["share_failed_fraction"].where(metrics["rows_judged_count"] > 0)
    rules = metrics.assign(share=share).groupby("rule_code")
    by_rule = {code: part.set_index("source_id")["share"] for code, part in rules}
    return pd.DataFrame(by_rule).rename_axis("source_id").reset_index()


def flagged(sample: pd.DataFrame, settings: Settings, regions: pd.DataFrame | None = None) -> pd.DataFrame:
    """The sample with a column a rule that no plain expectation covers.

    The column is True at a fault, False where judged and sound, None where not judged; the test is
    worked out on arrays, apart from DuckDB.
    """
    rules = declared()
    regions = region_middles(sample) if regions is None else regions
    names = {name for rule in rules for name in (*rule.needs, *predicate.columns(rule.test))} - set(ADDED)
    values: dict[str, Any] = {name: typed(sample, name).to_numpy(zero_copy_only=False) for name in names}
    values["as_of_date"] = np.full(len(sample), settings.as_of or "NaT", dtype="datetime64[D]")
    keys = ["area_code", "region_code"]
    left = pd.DataFrame({k: typed(sample, k).to_numpy(zero_copy_only=False) for k in keys}).fillna("").astype(object)
    right = regions.assign(**{k: regions[k].fillna("").astype(object) for k in keys})
    joined = left.merge(right, on=keys, how="left")
    values.update({name: joined[name].to_numpy(dtype=float) for name in ADDED if name != "as_of_date"})
    out = {name: pd.Series(values[name]) for name in sorted(names)}
    for rule in rules:
        if _plain(rule):
            continue
        judged = np.full(len(sample), True)
        for name in rule.needs:
            judged &= ~np.asarray(pd.isna(values[name]))
        column = predicate.evaluate(rule.test, values).astype(object)
        column[~judged] = None
        out[rule.code] = pd.Series(column, dtype=object)
    return pd.DataFrame(out)


def _plain(rule: Rule) -> bool:
    """Whether an expectation of the library says the rule without help."""
    return rule.low is not None or rule.high is not None or rule.pair is not None


def _expectation(gxe: Any, rule: Rule, allowed: float) -> Any:
    """The rule as an expectation on rows."""
    common = {"mostly": 1.0 - allowed, "meta": {"code": rule.code, "title": rule.title, "why": rule.why}}
    if rule.low is not None or rule.high is not None:
        return gxe.ExpectColumnValuesToBeBetween(
            column=rule.needs[0], min_value=rule.low, max_value=rule.high, **common
        )
    if rule.pair:
        larger, smaller, equal = rule.pair
        return gxe.ExpectColumnPairValuesAToBeGreaterThanB(
            column_A=larger, column_B=smaller, or_equal=equal, ignore_row_if="either_value_is_missing", **common
        )
    return gxe.ExpectColumnValuesToBeInSet(column=rule.code, value_set=[False], **common)


def _validate(gx: Any, context: Any, name: str, frame: pd.DataFrame, expectations: list[Any], detail: str) -> Any:
    """Run one suite over one frame inside a throw-away context."""
    asset = context.data_sources.add_pandas(name).add_dataframe_asset(name)
    batch = asset.add_batch_definition_whole_dataframe("whole")
    suite = context.suites.add(gx.ExpectationSuite(name=name, expectations=expectations))
    validation = context.validation_definitions.add(gx.ValidationDefinition(name=name, data=batch, suite=suite))
    form = {"result_format": detail}
    if detail == "COMPLETE":
        form["unexpected_index_column_names"] = ["source_id"]  # type: ignore[assignment]
    actions = [gx.checkpoint.UpdateDataDocsAction(name="pages")] if context.get_docs_sites_urls() else []
    point = context.checkpoints.add(
        gx.Checkpoint(name=name, validation_definitions=[validation], actions=actions, result_format=form)
    )
    done = point.run(batch_parameters={"dataframe": frame})
    return next(iter(done.run_results.values()))


def judge(
    metrics: pd.DataFrame,
    sample: pd.DataFrame,
    settings: Settings,
    pages: Path | None = None,
    regions: pd.DataFrame | None = None,
) -> Verdict:
    """Judge the shares by source and rule, and count the sample.

    Parameters
    ----------
    metrics : DataFrame
        Table ``metrics`` from :func:`pipeline.validate.scan.scan`.
    sample : DataFrame
        Wells, of which at most the first 100,000 are looked at.
    pages : Path, optional
        Folder that takes the library's own result pages; nothing is written anywhere without it.
    regions : DataFrame, optional
        As for the scan.

    Returns
    -------
    Verdict
    """
    allowed = allowed_shares(settings)
    judged: list[Rule | Lost] = [*declared(), *losses()]
    shares = wide_shares(metrics)
    with _quiet():
        import great_expectations as gx
        import great_expectations.expectations as gxe
        from great_expectations.data_context.types.base import ProgressBarsConfig

        context = gx.get_context(mode="ephemeral")
        context.variables.progress_bars = ProgressBarsConfig(globally=False, metric_calculations=False)
        _prepare_pages(context, pages)
        limits = [
            gxe.ExpectColumnValuesToBeBetween(
                column=rule.code, min_value=0.0, max_value=allowed[rule.code],
                meta={"code": rule.code, "title": rule.title, "why": rule.why},
            )
            for rule in judged if rule.code in shares
        ]  # fmt: skip
        on_shares = _validate(gx, context, "shares", shares, limits, "COMPLETE")
        rows = flagged(sample.iloc[:SAMPLE_ROWS].reset_index(drop=True), settings, regions)
        checks = [_expectation(gxe, rule, allowed[rule.code]) for rule in declared()]
        on_sample = _validate(gx, context, "sample", rows, checks, "BASIC") if len(rows) else None
        if pages is not None:
            context.build_data_docs()
    failed = [
        (code, found["source_id"], float(found[code]), allowed[code])
        for result in on_shares.results
        for code in [_code(result)]
        for found in result.result.get("unexpected_index_list") or []
    ]
    _heed_exceptions(on_shares)
    counted = _counts(on_sample) if on_sample is not None else {}
    judged_any = bool((metrics["rows_judged_count"] > 0).any())
    return Verdict(bool(on_shares.success) and not failed and judged_any, sorted(failed), counted)


def _code(result: Any) -> str:
    return str(result.expectation_config.meta["code"])


def _heed_exceptions(results: Any) -> None:
    """The library reports its own errors as failed expectations; a fault in our suite must not pass as data."""
    for result in results.results:
        if result.exception_info and result.exception_info.get("raised_exception"):
            why = result.exception_info["exception_message"]
            raise RuntimeError(f"The gate could not judge {_code(result)}: {why}")


def _counts(results: Any) -> dict[str, tuple[int, int]]:
    _heed_exceptions(results)
    out = {}
    for result in results.results:
        seen = result.result
        judged = seen["element_count"] - (seen.get("missing_count") or 0)
        out[_code(result)] = (int(judged), int(seen["unexpected_count"]))
    return out


def _prepare_pages(context: Any, pages: Path | None) -> None:
    """Keep the library from writing pages, or send them into the folder asked for."""
    for name in list(context.variables.data_docs_sites or {}):
        context.delete_data_docs_site(name)
    if pages is None:
        return
    shutil.rmtree(pages, ignore_errors=True)
    pages.mkdir(parents=True)
    context.add_data_docs_site("pages", {
        # without the library's own invitations below every page
        "class_name": "SiteBuilder", "show_how_to_buttons": False,
        "site_index_builder": {"class_name": "DefaultSiteIndexBuilder"},
        "store_backend": {"class_name": "TupleFilesystemStoreBackend", "base_directory": str(pages.resolve())},
    })  # fmt: skip
