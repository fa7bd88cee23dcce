"""What holds for a whole source: values that stand for missing, grid of coordinates, order of dates, market."""

from __future__ import annotations

import re

import pandas as pd

from pipeline import schema
from pipeline.ingest.proposal.asking import LIKELY, likely
from pipeline.ingest.proposal.dictionary import Described
from pipeline.ingest.proposal.model import Evidence, Proposal, Question
from pipeline.ingest.proposal.unknown import Unknown, concepts_in, few, numbers_of

_CUSTOMARY = ("ft", "in", "gpm", "psi", "gal", "cfs", "gal/h", "gal/day")
_METRIC = ("m", "mm", "cm", "L/s", "L/min", "L/h", "m**3/h", "m**3/d", "m**3/s", "kPa", "bar")
GRID = re.compile(r"[\(\[][^)\]]*(?:UTM|zone|EPSG)[^)\]]*[\)\]]", re.IGNORECASE)
_EPSG = re.compile(r"EPSG[:\s]*(\d{4,5})", re.IGNORECASE)
_ZONE = re.compile(r"(?:UTM|zone)\D{0,12}?(\d{1,2})\s?([NS])(?:orth|outh)?\b", re.IGNORECASE)


def standing_apart(profile: Unknown, header: str) -> tuple[str, ...]:
    """Texts of a column of numbers that stand for missing: repeated, far from all else, not declared already."""
    return profile.kept("apart", header, lambda: _apart(profile, header))


def _apart(profile: Unknown, header: str) -> tuple[str, ...]:
    numbers = profile.numbers(header)
    if len(numbers) < 20:
        return ()
    # only what is written in repeated figures can stand for missing
    if not any(_odd(value) and value != 0 for value in (numbers.min(), numbers.max())):
        return ()
    counts = numbers.value_counts()
    declared = {float(r["text"]) for r in schema.rows("missing") if r["kind"] == "sentinel"}
    out = []
    for value in (numbers.min(), numbers.max()):
        rest = numbers[numbers != value]
        if float(counts[value]) < 3 or rest.empty or value in declared or value == 0:
            continue
        low, high = rest.quantile([0.005, 0.995])
        span = max(high - low, abs(high), 1.0)
        if _odd(value) and (value < 0 <= rest.min() or value > high + 3 * span):
            texts = profile.values(header)
            out += [str(t) for t in texts[pd.to_numeric(texts, errors="coerce") == value].unique()[:3]]
    return tuple(dict.fromkeys(out))


def _odd(value: float) -> bool:
    """Whether a number is written as people write what stands for missing: 999, 7777, 1e30."""
    return re.fullmatch(r"-?(9+|8+|7+|5+|1e\d+|10{4,})", f"{abs(value):g}") is not None


def places(proposal: Proposal, profiles: list[Unknown], described: dict[str, Described]) -> None:
    """Projected coordinates need a reference system: from the words about the columns, else asked for."""
    for table, profile in zip(proposal.tables, profiles, strict=True):
        found = [g for g in table.guesses if g.field in ("latitude_deg", "longitude_deg")]
        pair = [g for g in found if g.field_score >= LIKELY and _size(profile, g.header) > 180]
        if {g.field for g in pair} != {"latitude_deg", "longitude_deg"} or any(
            g.sure and g not in pair for g in found
        ):
            continue
        told = described.get(profile.name)
        texts = [g.header for g in pair] + ([told.columns.get(g.header, "") for g in pair] if told else [])
        zones = [f"zone {few(profile, h)[0]}" for h in profile.headers
                 if "utm_zone" in concepts_in(h) and len(few(profile, h)) == 1]  # fmt: skip
        text = " ".join([*texts, *profile.headers, *zones])
        code, zone = _EPSG.search(text), _ZONE.search(text)
        if code:
            proposal.crs = f"EPSG:{code.group(1)}"
        elif zone and 1 <= int(zone.group(1)) <= 60:
            proposal.crs = f"EPSG:{'326' if zone.group(2).upper() == 'N' else '327'}{int(zone.group(1)):02d}"
        for one in pair:
            one.why_not = "" if proposal.crs else "projected coordinates, and no zone is told"
            if proposal.crs:
                one.evidence.append(Evidence("place", f"projected coordinates of {proposal.crs}", 4.0))
        if not proposal.crs:
            asked = f"In which grid and zone are {' and '.join(repr(g.header) for g in pair)} of {table.file}?"
            proposal.questions.append(Question(asked, table.name, pair[0].header, "crs", (), table.rows))


def _size(profile: Unknown, header: str) -> float:
    """Median of the absolute values of a column."""
    return float(numbers_of(profile.values(header)).abs().median())


def day_order(texts: pd.Series) -> tuple[str, bool]:
    """Order of slashed dates, and whether the values settle it."""
    form = r"^\s*(\d{1,2})[/.\-](\d{1,2})[/.\-]\d{2,4}\b"
    parts = texts.dropna().astype("str").str.extract(form).dropna().astype(int)
    if parts.empty:
        return "ymd", True
    day_first, month_first = bool((parts[0] > 12).any()), bool((parts[1] > 12).any())
    return ("dmy" if day_first else "mdy"), day_first != month_first


def dates(proposal: Proposal, profiles: list[Unknown]) -> None:
    """Order of day and month of each dated column; the commonest is that of the source."""
    orders: list[str] = []
    for table, profile in zip(proposal.tables, profiles, strict=True):
        for found in table.guesses:
            declared = schema.fields().get(found.field)
            if declared is not None and declared.type == "date" and found.sure and not found.date_order:
                found.date_order, clear = day_order(profile.sample[found.header])
                if not clear:
                    found.why_not = "day and month cannot be told apart"
            if declared is not None and declared.type == "date" and found.date_order:
                orders.append(found.date_order)
        if table.order_by:
            order, clear = day_order(profile.sample[table.order_by])
            if clear and order != "ymd":
                orders.insert(0, order)
    slashed = [o for o in orders if o != "ymd"]
    proposal.date_order = max(set(slashed), key=slashed.count) if slashed else "ymd"


def market_told(proposal: Proposal) -> str:
    """By the units of the columns that would be read; customary ones win a draw."""
    units = [g.unit for t in proposal.tables for g in t.guesses if g.field and (g.sure or likely(g))]
    american, metric = sum(u in _CUSTOMARY for u in units), sum(u in _METRIC for u in units)
    return "" if not american + metric else "us" if american >= metric else "metric"
