"""From raw tables to wells, events, issues, excluded, quarantine and a ledger that balances.

The order: read columns, join child tables, settle places, mend contradictions, merge records, leave out
what needs no drop pipe. Duplicates and place checks look across one source; sources never mix.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyarrow as pa

from pipeline import schema
from pipeline.errors import PipelineError
from pipeline.normalise import (
    children,
    dates,
    fill_down,
    id_forms,
    identity,
    lattice,
    nests,
    overrides,
    places,
    regions,
    repairs,
    scope,
    spelling,
    text,
    unit_rows,
)
from pipeline.normalise.columns import ENTRY, EVENT_DATE, KEYS, KIND, REASON, Reader
from pipeline.normalise.issues import IssueLog
from pipeline.normalise.order import by_text, ordered, whole
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.ingest.intake import Intake, LedgerEntry, RawTable
    from pipeline.ingest.layouts import Layout


@dataclass
class Records:
    """What normalise hands on; every frame has the columns of the declared table of its name.

    Attributes
    ----------
    wells : DataFrame
        One row a well in scope, SI, sorted by source_id and well_id.
    events, issues, quarantine, excluded : DataFrame
    repairs : DataFrame
        Proposed repairs, accepted or not.
    ledger : list of LedgerEntry
        rows_read = rows_used + excluded + quarantined holds in each.
    """

    wells: pd.DataFrame
    events: pd.DataFrame
    issues: pd.DataFrame
    quarantine: pd.DataFrame
    excluded: pd.DataFrame
    repairs: pd.DataFrame
    ledger: list[LedgerEntry]


@dataclass
class _Source:
    """Outcome of one source."""

    wells: pd.DataFrame
    events: pd.DataFrame
    excluded: pd.DataFrame
    no_id: pd.DataFrame
    used: pd.Series  # ledger entry of every record used


def to_records(intake: Intake, settings: Settings) -> Records:
    """Wells, events and everything set aside, from the raw tables of a run.

    Parameters
    ----------
    intake : Intake
        Raw text tables with their layouts and a ledger whose rows_read and quarantined are filled.
    settings : Settings
        Market, as-of date and the practice value ``weight_unknown_use``.

    Raises
    ------
    UsageError
        When the settings set a value of a well that was not read, of no field, or that cannot be read.
    PipelineError
        When a ledger entry does not balance: a record was lost or counted twice.
    """
    log = IssueLog(settings.accept_repairs)
    by_source: dict[str, list[tuple[RawTable, int]]] = defaultdict(list)
    for raw, entry in zip(intake.tables, _entries(intake), strict=True):
        by_source[raw.source_id].append((raw, entry))
    outcomes = []
    for source_id in sorted(by_source):
        tables = sorted(by_source[source_id], key=lambda pair: (pair[0].file, pair[0].table, pair[1]))
        outcomes.append(_source(intake.layouts[source_id], tables, settings, log))
    ledger = _balanced(intake, outcomes)
    _merge_editions(intake, dict(zip(sorted(by_source), outcomes, strict=True)))
    _merge_sources(dict(zip(sorted(by_source), outcomes, strict=True)))
    wells = _declared("wells", [o.wells for o in outcomes])
    excluded = _declared("excluded", [o.excluded for o in outcomes])
    return Records(
        wells=overrides.put(wells, excluded, settings, log),
        events=_declared("events", [o.events for o in outcomes]),
        issues=log.table(),
        quarantine=_declared("quarantine", [intake.quarantine, *(o.no_id for o in outcomes)]),
        excluded=excluded,
        repairs=_declared("repairs", log.repairs()),
        ledger=ledger,
    )


def _merge_editions(intake: Intake, outcomes: dict[str, _Source]) -> None:
    """Where two editions of one source are read together, a well of both stands once, in the main edition.

    The record of the other edition counts as used; its event says what it was merged into.
    """
    for source_id, outcome in outcomes.items():
        main = outcomes.get(intake.layouts[source_id].edition_of)
        if main is None or outcome.wells.empty or main.wells.empty:
            continue
        into = _same_wells(outcome.wells, main.wells)
        twice = into.notna()
        names = pd.Series(into[twice].to_numpy(), index=outcome.wells.loc[twice, "well_id"].to_numpy())
        _drop(outcome, names, f"the same well in another edition, {intake.layouts[source_id].edition_of}")


def _merge_sources(outcomes: dict[str, _Source]) -> None:
    """Where two sources of a run hold one well under forms of one id, it stands once, in the fuller of the two.

    The record of the other counts as used; its event says what it was merged into and why.
    """
    names = [name for name, outcome in outcomes.items() if len(outcome.wells)]
    for place, source_id in enumerate(names):
        for other_id in names[place + 1 :]:
            one, other = outcomes[source_id], outcomes[other_id]
            into = id_forms.merge_across(one.wells, other.wells)
            if not into.notna().any():
                continue
            pairs = pd.Series(into.dropna().to_numpy(), index=one.wells.loc[into.notna(), "well_id"].to_numpy())
            filled = [o.wells.set_index("well_id")["completeness_count"] for o in (one, other)]
            first = filled[0].loc[pairs.index].to_numpy() >= filled[1].loc[pairs.to_numpy()].to_numpy()
            back = pd.Series(pairs.index[first], index=pairs[first].to_numpy())
            _drop(other, back, f"the same well as {source_id} has it: the id, and place, depth or day, agree")
            _drop(one, pairs[~first], f"the same well as {other_id} has it: the id, and place, depth or day, agree")


def _drop(outcome: _Source, into: pd.Series, evidence: str) -> None:
    """Take wells out of a source; ``into`` tells by id what each was merged into."""
    if into.empty:
        return
    outcome.wells = outcome.wells[~outcome.wells["well_id"].isin(into.index)].reset_index(drop=True)
    events = outcome.events.copy()
    again = events["well_id"].isin(into.index) & events["merged_into_well_id"].isna()
    events.loc[again, "merged_into_well_id"] = events.loc[again, "well_id"].map(into)
    events.loc[again, "event_kind_code"] = "duplicate"
    events.loc[again, "evidence"] = evidence
    outcome.events = events


def _same_wells(wells: pd.DataFrame, main: pd.DataFrame) -> pd.Series:
    """Id of the well of ``main`` that each well is: by its id, else by the same point, depth and level.

    A point, depth and level that two wells of either table share tell nothing.
    """
    into = wells["well_id"].where(wells["well_id"].isin(main["well_id"]))
    if not {"latitude_deg", "longitude_deg"} <= set(wells) & set(main):
        return into
    marks = []
    for frame in (wells, main):
        digits = {"latitude_deg": 5, "longitude_deg": 5, "depth_drilled_m": 1, "depth_static_m": 1}
        rounded = [frame[name].round(n).astype(str) for name, n in digits.items() if name in frame]
        mark = rounded[0]
        for part in rounded[1:]:
            mark = mark + "|" + part
        placed = frame["latitude_deg"].notna() & ~mark.duplicated(keep=False)
        marks.append(mark.where(placed))
    known = pd.Series(main["well_id"].to_numpy(), index=marks[1].to_numpy())
    known = known[known.index.notna()]
    return into.fillna(marks[0].map(known))


def _entries(intake: Intake) -> list[int]:
    """Place in the ledger of each raw table; equal file names are taken in order."""
    waiting: dict[tuple[str, str, str], deque[int]] = defaultdict(deque)
    for place, entry in enumerate(intake.ledger):
        waiting[entry.source_id, entry.table, entry.file].append(place)
    out = []
    for raw in intake.tables:
        queue = waiting[raw.source_id, raw.table, raw.file]
        if not queue:
            raise PipelineError(f"{raw.file}: table '{raw.table}' was read but stands in no ledger entry.")
        out.append(queue.popleft())
    return out


def market_of(layout: Layout, settings: Settings) -> str:
    """Market of a source: the user's, the layout's, else by the units of its columns."""
    if settings.market or layout.market:
        return settings.market or layout.market
    units = [c.unit.lower() for t in layout.tables.values() for c in t.columns.values() if c.unit]
    customary = sum(u in ("ft", "feet", "foot", "in", "inch", "gpm", "usgpm", "psi") for u in units)
    return "us" if 2 * customary > len(units) else "metric"


def _source(layout: Layout, tables: list[tuple[RawTable, int]], settings: Settings, log: IssueLog) -> _Source:
    market = market_of(layout, settings)
    files = sorted({raw.file for raw, _ in tables})
    reader = Reader(layout, market, dates.newest(settings.as_of, layout.retrieved), log, files, settings.threads)
    main, since = layout.wells_table().name, log.mark()
    blocks: dict[str, list[pd.DataFrame]] = defaultdict(list)
    for raw, entry in (t for t in tables if t[0].table == main):
        blocks[raw.table].append(reader.block(raw, entry))
        fill_down.ids(blocks[raw.table][-1], False, log)
        fill_down.groups(blocks[raw.table][-1], log)
    mark = log.mark()
    for raw, entry in (t for t in tables if t[0].table != main):
        blocks[raw.table].append(reader.block(raw, entry))
        fill_down.ids(blocks[raw.table][-1], True, log)
    frames = {k: v[0] if len(v) == 1 else pd.concat(v, ignore_index=True) for k, v in blocks.items()}
    no_id = []
    for name, frame in frames.items():
        lacking = frame["well_id"].isna()
        if lacking.any():
            no_id.append(frame.loc[lacking, [*KEYS, ENTRY]])
            frames[name] = frame[~lacking].reset_index(drop=True)
    wells = frames.pop(main, None)
    if wells is None:
        wells = pd.DataFrame({name: pd.Series(dtype="str") for name in (*KEYS, REASON)})
    child_names = [name for name in layout.tables if name in frames]
    ids = pd.Index(wells["well_id"].unique()) if child_names else pd.Index([])
    log.only(mark, ids)
    if id_forms.tell_spoiled(wells, log) and child_names:
        ids = pd.Index(wells["well_id"].unique())
    for name in child_names:
        id_forms.join(frames[name], ids, name, layout.id, log)
        picks = {f: c.pick for f, c in layout.tables[name].columns.items()}
        children.fill(wells, children.gather(frames[name], picks, ids))
    kept, merged, left_out = _settle(wells, layout, market, settings, log, since)
    in_scope = pd.Index(pd.concat([kept["well_id"], merged["well_id"]]).unique()) if child_names else pd.Index([])
    lost = [left_out, *reader.totals]
    used = [kept[ENTRY], merged[ENTRY]] if len(wells) else []
    for name in child_names:
        unused = children.settle(frames[name], in_scope, ids)
        lost.append(unused.rename(columns={REASON: "reason_code"}))
        used.append(frames[name][ENTRY].drop(unused.index))
    return _Source(
        kept, identity.events(kept, merged) if len(wells) else pd.DataFrame(), pd.concat(lost, ignore_index=True),
        pd.concat(no_id, ignore_index=True).assign(reason_code="no_id", detail="the record names no well")
        if no_id else pd.DataFrame(),
        pd.concat(used, ignore_index=True) if used else pd.Series(dtype=np.int32),
    )  # fmt: skip


def _settle(
    wells: pd.DataFrame, layout: Layout, market: str, settings: Settings, log: IssueLog, since: int
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Wells in scope, records merged into them, and records left out."""
    if wells.empty:
        return wells, wells.copy(), pd.DataFrame(columns=[*KEYS, "reason_code", "detail", ENTRY])
    source_id = layout.id
    for name in ("area_code", "region_code"):
        if name in wells:
            wells[name] = places.merge_spellings(wells[name], name, source_id, log)
    for name, empty in (("use_code", "unknown"), ("status_code", "unknown"), ("area_code", layout.area)):
        if empty:
            wells[name] = wells[name].fillna(empty) if name in wells else _constant(empty, len(wells))
    if "region_code" in wells:
        regional, areas = wells["region_code"], wells.get("area_code")
        wells["region_code"] = spelling.settle(regional, areas, "region_code", source_id, log)
    if "completed_date" in wells:
        if "completed_precision_code" not in wells:
            wells["completed_precision_code"] = 0
        wells["completed_precision_code"] = wells["completed_precision_code"].fillna(0).astype(np.int8)
    wells[repairs.REPAIRED] = np.zeros(len(wells), dtype=np.int8)
    office = [h for h in layout.wells_table().columns["completed_date"].sources if dates.is_office_day(h)] \
        if "completed_date" in layout.wells_table().columns else []
    if office:
        log.once("N310", "completed_date", source_id, office[0], "a day of completion", "taken as the latest it can be")
    identity.date_events(wells)
    places.settle(wells, layout.crs, log)
    lattice.settle(wells, source_id, log)
    regions.settle(wells, settings, source_id, log)
    units = _units(layout)
    repairs.mend_yields(wells, units, settings.base("flow_repair_village"), log)
    repairs.mend_depths(wells, units, log)
    unit_rows.mend(wells, units, log, since)
    repairs.give_up(wells, log)
    order, unlike = by_text(whole(wells["well_id"]))
    kept, same_id = identity.merge_ids(wells, log, unlike)
    kept, forms = id_forms.merge_forms(kept, log)
    if len(forms):
        same_id, unlike = pd.concat([same_id, forms], ignore_index=True), False
    nests.mark(kept, log)
    why = scope.reasons(kept)
    out = why["reason_code"].notna().to_numpy()
    columns = [*KEYS, "reason_code", "detail", ENTRY]
    left = kept.loc[out, [*KEYS, ENTRY]].assign(reason_code=why["reason_code"][out], detail=why["detail"][out])
    plugged = _plugged(kept[out & (why["reason_code"] == "plugged").to_numpy()], wells)
    # leaving out and putting in order is one copy of the columns where no record was merged
    kept = kept.iloc[order[~out[order]] if unlike else np.flatnonzero(~out)].reset_index(drop=True)
    # a record merged into a well that is left out leaves with it
    heads = left.loc[left["well_id"].isin(same_id[identity.INTO]), ["well_id", "reason_code", "detail"]]
    gone = same_id[identity.INTO].isin(heads["well_id"]).to_numpy()
    follow = same_id[gone].join(heads.set_index("well_id"), on=identity.INTO)
    kept, same_place = identity.merge_places(kept)
    nests.replacements(kept, plugged, log)
    merged = pd.concat([same_id[~gone], same_place], ignore_index=True) if len(same_id) or len(same_place) else same_id
    identity.date_pumps(kept, merged)
    kept = ordered(kept, ["well_id"])
    kept["market_code"] = market
    kept["weight_inclusion_fraction"] = scope.weights(kept["use_code"], settings.base("weight_unknown_use"))
    kept["completeness_count"] = identity.completeness(kept)
    if "completed_precision_code" in kept:
        names = np.array(dates.PRECISIONS, dtype=object)
        known = kept["completed_date"].notna().to_numpy()
        place = np.where(known, np.maximum(kept["completed_precision_code"].to_numpy(), 1), 0)
        kept["completed_precision_code"] = pd.Series(names[place], dtype="str")
    return kept, merged, pd.concat([left[columns], follow[columns]], ignore_index=True)


def _plugged(left: pd.DataFrame, wells: pd.DataFrame) -> pd.DataFrame:
    """Wells left out as plugged, with the day of their plugging report as the day of the event."""
    if left.empty:
        return left
    reports = wells[(wells[KIND] == "plugging").to_numpy()].groupby("well_id")[EVENT_DATE].max().dropna()
    if reports.empty:
        return left.iloc[:0]
    return left.assign(**{EVENT_DATE: left["well_id"].map(reports)})


def _constant(word: str, size: int) -> pd.Series:
    """A column of one text."""
    return text.series(pa.array([word]), np.zeros(size, dtype=np.int32))


def _units(layout: Layout) -> dict[str, str]:
    """Declared unit of each field; the wells table first, then tables in their order."""
    main = layout.wells_table()
    out: dict[str, str] = {}
    for table in (main, *(t for t in layout.tables.values() if t is not main)):
        for name, column in table.columns.items():
            out.setdefault(name, column.unit)
    return out


def _balanced(intake: Intake, outcomes: list[_Source]) -> list[LedgerEntry]:
    """The ledger with used, excluded and quarantined filled; each entry must add up."""
    for outcome in outcomes:
        for entry, count in outcome.used.value_counts().items():
            intake.ledger[int(str(entry))].rows_used = int(count)
        for frame, name in ((outcome.excluded, "excluded"), (outcome.no_id, "quarantined")):
            if len(frame):
                pairs = Counter(zip(frame[ENTRY].tolist(), frame["reason_code"].tolist(), strict=True))
                for (place, reason), count in pairs.items():
                    getattr(intake.ledger[int(place)], name)[reason] = count
    wrong = [f"{e.file} ({e.table})" for e in intake.ledger if not e.balances()]
    if wrong:
        raise PipelineError(f"Records read and records accounted for differ in {', '.join(wrong)}; please report this.")
    return intake.ledger


def _declared(name: str, frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Frames one below the other with just the declared columns, typed, in the order of the key."""
    found = [frame for frame in frames if len(frame)]
    out: dict[str, Any] = {}
    for column in schema.table(name):
        field = column.field
        parts = [
            _typed(frame[field.name], field.type) if field.name in frame else _missing(len(frame), field.type)
            for frame in found
        ]
        one = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0] if parts else _missing(0, field.type)
        out[field.name] = one.reset_index(drop=True)
    # as they are: gathering the columns into blocks would copy all of them
    frame = pd.DataFrame(out, copy=False)
    if name == "wells":  # each source is in order, and so are the sources
        return frame
    keys = schema.key_of(name) or ["source_id", "source_file", "source_table", "source_row", "source_line"]
    return ordered(frame, keys)


def _missing(size: int, kind: str) -> pd.Series:
    """A column without any value, of the type of a field."""
    if kind == "number":
        return pd.Series(np.full(size, np.nan), copy=False)
    if kind == "date":
        return pd.Series(np.full(size, np.datetime64("NaT", "s"), dtype="datetime64[s]"), copy=False)
    if kind == "integer":
        return pd.Series(pd.arrays.IntegerArray(np.zeros(size, dtype=np.int64), np.ones(size, dtype=bool)), copy=False)
    if kind == "boolean":
        return pd.Series(pd.arrays.BooleanArray(np.zeros(size, dtype=bool), np.ones(size, dtype=bool)), copy=False)
    return text.as_series(pa.nulls(size, pa.large_string()))


def _typed(column: pd.Series, kind: str) -> pd.Series:
    """A column in the type of a field; text of few kinds is spelled out from its categories."""
    if kind in ("string", "text", "code"):
        if isinstance(column.dtype, pd.CategoricalDtype):
            return text.series(pa.array(column.cat.categories, type=pa.string()), column.cat.codes.to_numpy())
        return column.astype("str")
    types = {"integer": "Int64", "number": "float64", "boolean": "boolean", "date": "datetime64[s]"}
    return column if column.dtype == types[kind] else column.astype(types[kind])  # type: ignore[call-overload]
