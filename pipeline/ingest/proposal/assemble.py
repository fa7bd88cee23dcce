"""From guesses by column to proposals by source: what is doubted, what to ask, what is missing."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pandas as pd

from pipeline import schema, words
from pipeline.ingest.intake import folded
from pipeline.ingest.proposal import dictionary, related, repeated
from pipeline.ingest.proposal.kinds import lines_by_kind
from pipeline.ingest.proposal.model import DECIDING, DEPTHS, Evidence, Guess, Proposal, Question, TableProposal
from pipeline.ingest.proposal.place import Context
from pipeline.ingest.proposal.score import guess_table
from pipeline.ingest.proposal.unknown import Unknown, concepts_in, few, merged, numbers_of

Engine = Callable[[tuple[str, ...], pd.DataFrame, "list[str] | None", "dict[str, str] | None", Context], list[Guess]]
LIKELY = related.LIKELY
QUESTIONS = 3
# reasons of the engine by columns
RIVALS, EMPTY = "two columns claim this field", "no cell is filled"
_CUSTOMARY = ("ft", "in", "gpm", "psi", "gal", "cfs", "gal/h", "gal/day")
_METRIC = ("m", "mm", "cm", "L/s", "L/min", "L/h", "m**3/h", "m**3/d", "m**3/s", "kPa", "bar")
# what the job uses, in the order in which it is told; one known field of a line suffices
USED = (
    ("depth", ("depth_drilled_m", "depth_completed_m")), ("static", ("depth_static_m",)),
    ("pumping", ("depth_pumping_m", "drawdown_test_m")), ("yield", ("flow_tested_m3_per_s",)),
    ("pump", ("depth_pump_m", "length_drop_pipe_m")), ("bore", ("diameter_casing_inside_m",)),
    ("use", ("use_code",)), ("date", ("completed_date",)), ("place", ("latitude_deg",)),
    ("chemistry", ("acidity_ph", "chloride_mg_per_l")),
)  # fmt: skip


@dataclass
class Source:
    """Tables that would be read as one source, with what is proposed for them."""

    proposal: Proposal
    profiles: list[Unknown]

    def table_of(self, name: str) -> TableProposal | None:
        """The table that a file is read as, None where it is not read."""
        return next((t for t in self.proposal.tables if name in t.files and t.role), None)


@dataclass
class Assembled:
    """Everything proposed for a set of tables that no layout knows.

    Attributes
    ----------
    sources : list of Source
    aside : dict of name -> reason
        Tables that are of no use on purpose: they describe others, or tell nothing the job uses.
    """

    sources: list[Source] = field(default_factory=list)
    aside: dict[str, str] = field(default_factory=dict)

    def source_of(self, name: str) -> Source | None:
        """The source a file belongs to."""
        return next((s for s in self.sources if any(name in p.files for p in s.profiles)), None)


def assemble(
    profiles: list[Unknown], known: list[tuple[str, tuple[str, ...]]], engine: Engine = guess_table,
    free_id: Callable[[str], str] = lambda name: "proposed", market: str = "",
) -> Assembled:  # fmt: skip
    """Sources proposed for all tables of a set at once.

    Parameters
    ----------
    profiles : list of Unknown
        One a table that no layout knows; tables of equal headers are taken as one.
    known : list of (name, headers)
        Tables that a layout knows: a dictionary may describe them.
    engine : callable
        ``guess_table(headers, sample, units_row, described, context) -> list of Guess``.
    free_id : callable
        A source id from the name of a table.
    market : str
        us or metric, where the user says so.
    """
    tables = _merged(profiles)
    targets: list[tuple[str, tuple[str, ...], Unknown | None]] = [(n, h, None) for n, h in known]
    targets += [(t.name, t.headers, t) for t in tables]
    described, sisters = dictionary.describe(tables, targets)
    out = Assembled()
    for sister in sisters:
        for name in tables[sister.place].files:
            out.aside[name] = sister.reason()
    apart = {s.place for s in sisters}
    tables = [t for place, t in enumerate(tables) if place not in apart]
    long = [repeated.long_form(t) or lines_by_kind(t, engine) for t in tables]
    alone_known = Context(market=market)
    guesses = [_guessed(t, described.get(t.name), engine, n, alone_known) for t, n in zip(tables, long, strict=True)]
    fit = [_fit(g) for g in guesses]
    groups, alone = related.groups(tables, guesses, fit)
    for group in groups:
        members = [group.wells, *(link.child for link in group.links)]
        first = {p: guesses[p] for p in members}
        for place in members if len(members) > 1 else []:
            # units and places that the other tables tell settle what one table leaves open
            context = _context([(tables[p], first[p]) for p in members if p != place], market)
            guesses[place] = _guessed(tables[place], described.get(tables[place].name), engine, long[place], context)
        source = _source(group, tables, guesses, long, described)
        source.proposal.source_id = free_id(source.profiles[0].name)
        out.sources.append(source)
        for place, why in group.useless:
            for name in tables[place].files:
                out.aside[name] = f"Of no use for the job: {why}."
    for place in alone:
        source = _source(related.Group(place), tables, guesses, long, described)
        source.proposal.source_id = free_id(tables[place].name)
        out.sources.append(source)
    return out


def _merged(profiles: list[Unknown]) -> list[Unknown]:
    by_key: dict[tuple[str, ...], list[Unknown]] = {}
    for profile in profiles:
        by_key.setdefault(profile.key, []).append(profile)
    return [merged(parts) for parts in by_key.values()]


def _guessed(
    table: Unknown, told: dictionary.Described | None, engine: Engine, long: repeated.Filtered | None, context: Context
) -> list[Guess]:  # fmt: skip
    """Guesses of a table, its codes spelled out where a sister table says what they stand for."""
    told = told or dictionary.Described()
    sample = _without_missing(table, dictionary.decoded(table.sample, told.codes))
    # the grid in brackets is about the coordinates, not about what the column means
    plain = [_GRID.sub(" ", h).strip() or h for h in table.headers]
    headers = tuple(plain) if len(set(plain)) == len(plain) else table.headers
    columns = {new: told.columns[old] for new, old in zip(headers, table.headers, strict=True) if old in told.columns}
    sample = sample if headers == table.headers else sample.set_axis(list(headers), axis=1)
    found = engine(headers, sample, table.units, columns, context)
    found = [replace(g, header=old) for g, old in zip(found, table.headers, strict=True)]
    found = [_coded(g, told.codes.get(g.header, {})) for g in found]
    if long is not None:
        found = [g for g in found if g.header not in long.taken]
        found += [replace(g, evidence=list(g.evidence)) for g in long.guesses]
    return found


def _without_missing(table: Unknown, sample: pd.DataFrame) -> pd.DataFrame:
    """The sample without values that stand for missing, so that they speak against no reading."""
    marked = {h: found for h in table.headers if (found := standing_apart(table, h))}
    if not marked:
        return sample
    out = sample.copy()
    for header, texts in marked.items():
        out[header] = out[header].mask(out[header].fillna("").astype("str").str.strip().isin(texts), "")
    return out


def _context(others: list[tuple[Unknown, list[Guess]]], market: str) -> Context:
    """What the other tables of a source tell: states and countries, a box of degrees, units that are written."""
    areas: list[str] = []
    units: list[str] = []
    box = None
    for table, guesses in others:
        sure = {g.field: g for g in guesses if g.sure}
        if "area_code" in sure:
            areas += few(table, sure["area_code"].header, 12)
        units += [g.unit for g in sure.values() if g.unit not in ("", "deg")]
        if {"latitude_deg", "longitude_deg"} <= set(sure):
            lat, lon = (numbers_of(table.values(sure[n].header)) for n in ("latitude_deg", "longitude_deg"))
            if len(lat) and len(lon) and lat.abs().max() <= 90 and lon.abs().max() <= 180:
                (south, north), (west, east) = lat.quantile([0.05, 0.95]), lon.quantile([0.05, 0.95])
                box = (float(south), float(west), float(north), float(east))
    return Context(tuple(dict.fromkeys(areas)), box, tuple(dict.fromkeys(units)), "", market)


def _coded(guess: Guess, labels: dict[str, str]) -> Guess:
    declared = schema.fields().get(guess.field)
    if not labels or declared is None or not declared.codes:
        return guess
    known = schema.spellings(declared.codes)
    codes = {c: code for c, text in labels.items() if (code := _code_of(text, known))}
    return replace(guess, codes={**codes, **guess.codes})


def _code_of(text: str, known: dict[str, str]) -> str:
    """Code that a label stands for: as a whole, else by the longest spelling among its words."""
    plain = " ".join(re.sub(r"[^a-z0-9/]+", " ", text.lower()).split())
    if plain in known:
        return known[plain]
    inside = [s for s in known if len(s) > 3 and re.search(rf"\b{re.escape(s)}\b", plain)]
    return known[max(inside, key=len)] if inside else ""


def _fit(guesses: list[Guess]) -> bool:
    """Whether a table may be a table of wells on its own."""
    fields = related.told(guesses)
    return bool(fields & set(DEPTHS)) or {"latitude_deg", "longitude_deg"} <= fields


def _source(
    group: related.Group, tables: list[Unknown], guesses: list[list[Guess]],
    long: list[repeated.Filtered | None], described: dict[str, dictionary.Described],
) -> Source:  # fmt: skip
    names: dict[str, int] = {}
    main = tables[group.wells]
    key = group.key or next((g.header for g in guesses[group.wells] if g.field == "well_id" and g.sure), "")
    wells = _table("wells", main, guesses[group.wells], "wells", key, long[group.wells])
    proposed, profiles = [wells], [main]
    for link in sorted(group.links, key=lambda k: k.child):
        child = tables[link.child]
        several = child.keys(link.child_key)[1] < 0.98
        found = repeated.not_of_the_well(guesses[link.child], "", several)
        name = _plain_name(child.name, names)
        table = _table(name, child, found, "child", link.child_key, long[link.child])
        table.link = related.says(link, tables)
        for one, column in ((table, link.child_key), (wells, link.key)):
            holder = next(g for g in one.guesses if g.header == column)
            holder.evidence.append(Evidence("relation", table.link, 4.0))
        repeated.settle(table, child, several)
        if any(g.field and g.field != "well_id" and (g.sure or likely(g)) for g in table.guesses):
            proposed.append(table)
            profiles.append(child)
        else:
            group.useless.append((link.child, "it tells nothing that the job uses"))
    out = Proposal(proposed)
    for table, profile in zip(proposed, profiles, strict=True):
        _alone(table, profile)
        table.missing = {g.header: found for g in table.guesses
                         if (g.sure or likely(g)) and (found := standing_apart(profile, g.header))}  # fmt: skip
    _places(out, profiles, described)
    _dates(out, profiles)
    out.market = _market(out)
    _judge(out, profiles)
    out.missing = _lacking(out)
    return Source(out, profiles)


def _alone(table: TableProposal, profile: Unknown) -> None:
    """Of columns that claim one field, the only one that holds anything; changes ``table``."""
    claims: dict[str, list[Guess]] = {}
    for found in table.guesses:
        if found.field and found.why_not in (RIVALS, EMPTY):
            claims.setdefault(found.field, []).append(found)
    for rivals in claims.values():
        left = [g for g in rivals if len(profile.values(g.header))]
        if len(rivals) > 1 and len(left) == 1 and left[0].why_not == RIVALS and left[0].field_score >= 0.9:
            left[0].why_not = "" if left[0].unit or not schema.fields()[left[0].field].unit else "no unit is written"


def _table(
    name: str, profile: Unknown, guesses: list[Guess], role: str, key: str, long: repeated.Filtered | None
) -> TableProposal:
    settled = [replace(g) for g in guesses]
    for found in settled:
        if found.header == key:
            # the column that joins the tables is the id, whatever its header says
            found.field, found.unit, found.why_not = "well_id", "", ""
            found.score = found.field_score = max(found.score, 0.99)
        elif found.field == "well_id" and key:
            found.why_not = found.why_not or f"'{key}' is the id"
    return TableProposal(
        name, profile.name, profile.headers, settled, role, (key,) if key else (), profile.rows, profile.rows_exact,
        units_row=profile.units is not None, where=dict(long.where) if long else {}, files=tuple(profile.files),
    )  # fmt: skip


def _plain_name(name: str, taken: dict[str, int]) -> str:
    """A table's name in a layout, from the name of its file or sheet."""
    last = name.split(": ")[-1].split("/")[-1]
    text = re.sub(r"[^a-z0-9]+", "_", last.rsplit(".", 1)[0].lower()).strip("_") or "table"
    text = "wells_2" if text == "wells" else text
    taken[text] = taken.get(text, 0) + 1
    return text if taken[text] == 1 else f"{text}_{taken[text]}"


def likely(guess: Guess) -> bool:
    """Whether a guess is good enough to be put before the user as the likely answer."""
    declared = schema.fields().get(guess.field)
    if declared is None or guess.sure or guess.field_score < LIKELY:
        return False
    return not declared.unit or bool(guess.unit or guess.unit_from) or guess.field.endswith("_deg")


def standing_apart(profile: Unknown, header: str) -> tuple[str, ...]:
    """Texts of a column of numbers that stand for missing: repeated, far from all else, not declared already."""
    return profile.kept("apart", header, lambda: _apart(profile, header))


def _apart(profile: Unknown, header: str) -> tuple[str, ...]:
    numbers = numbers_of(profile.values(header))
    if len(numbers) < 20:
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
        odd = re.fullmatch(r"-?(9+|8+|7+|5+|1e\d+|10{4,})", f"{abs(value):g}") is not None
        if odd and (value < 0 <= rest.min() or value > high + 3 * span):
            texts = profile.values(header)
            out += [str(t) for t in texts[pd.to_numeric(texts, errors="coerce") == value].unique()[:3]]
    return tuple(dict.fromkeys(out))


_GRID = re.compile(r"[\(\[][^)\]]*(?:UTM|zone|EPSG)[^)\]]*[\)\]]", re.IGNORECASE)
_EPSG = re.compile(r"EPSG[:\s]*(\d{4,5})", re.IGNORECASE)
_ZONE = re.compile(r"(?:UTM|zone)\D{0,12}?(\d{1,2})\s?([NS])(?:orth|outh)?\b", re.IGNORECASE)


def _places(proposal: Proposal, profiles: list[Unknown], described: dict[str, dictionary.Described]) -> None:
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


def _dates(proposal: Proposal, profiles: list[Unknown]) -> None:
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


def _market(proposal: Proposal) -> str:
    """By the units of the columns that would be read; customary ones win a draw."""
    units = [g.unit for t in proposal.tables for g in t.guesses if g.field and (g.sure or likely(g))]
    american, metric = sum(u in _CUSTOMARY for u in units), sum(u in _METRIC for u in units)
    return "" if not american + metric else "us" if american >= metric else "metric"


def _filled(profile: Unknown, header: str) -> int:
    """Rows of a table in which a column says something."""
    return round(profile.rows * len(profile.values(header)) / max(len(profile.sample), 1))


def _judge(proposal: Proposal, profiles: list[Unknown]) -> None:
    """Doubts and questions: what keeps the tables from being read without asking."""
    read = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    doubts: list[str] = []
    questions = list(proposal.questions)
    for table, profile in zip(proposal.tables, profiles, strict=True):
        half: dict[str, list[Guess]] = {}
        for found in table.guesses:
            half_read = found.field and not found.sure and found.field_score >= LIKELY
            if half_read and _decides(found, read) and len(profile.values(found.header)):
                half.setdefault(found.field, []).append(found)
        for name, rivals in half.items():
            doubts.append(_doubt(name, rivals))
            rows = max(_filled(profile, g.header) for g in rivals)
            questions.append(_question(name, rivals, table, rows))
    if not read & set(DEPTHS):
        doubts.insert(0, "no column with a written unit tells a depth or level")
    proposal.doubts = sorted(dict.fromkeys(doubts))
    rank = {name: place for place, name in enumerate(DECIDING)}
    fields = {(t.name, g.header): g.field for t in proposal.tables for g in t.guesses}
    # one answer serves columns of one name in several tables
    single: dict[tuple[str, str], Question] = {}
    for question in sorted(questions, key=lambda q: -q.rows):
        single.setdefault((folded(question.header), question.key), question)
    questions = list(single.values())
    questions.sort(key=lambda q: (-q.rows, rank.get(fields.get((q.table, q.header), ""), 99), q.text))
    proposal.questions = questions[:QUESTIONS]


def _decides(found: Guess, read: set[str]) -> bool:
    if found.field in read:
        return False
    ambiguous = schema.fields()[found.field].type == "date" and "day and month" in found.why_not
    return found.field in DECIDING or ambiguous


def _doubt(name: str, rivals: list[Guess]) -> str:
    if len(rivals) > 1:
        return f"columns {', '.join(repr(g.header) for g in rivals)} could all be {name}"
    found = rivals[0]
    if "no unit" in found.why_not:
        return f"column '{found.header}' looks like {name} and tells no unit"
    if "day and month" in found.why_not:
        return f"dates in '{found.header}' can be read day first or month first"
    return f"column '{found.header}' may be {name}" + (f": {found.why_not}" if found.why_not else "")


def _question(name: str, rivals: list[Guess], table: TableProposal, rows: int) -> Question:
    what = words.label(name).lower()
    found = rivals[0]
    if len(rivals) > 1:
        listed = " or ".join(repr(g.header) for g in rivals)
        text = f"Which column of {table.file} is the {what}: {listed}?"
        return Question(text, table.name, found.header, "from", tuple(g.header for g in rivals), rows)
    if "day and month" in found.why_not:
        text = f"Do dates in '{found.header}' of {table.file} put the day or the month first?"
        return Question(text, table.name, found.header, "date_order", ("dmy", "mdy"), rows)
    if "unit" in found.why_not:
        units = _units_for(name, found.unit)
        text = f"In which unit is '{found.header}' of {table.file} ({what}): {' or '.join(units)}?"
        return Question(text, table.name, found.header, "unit", units, rows)
    inside = f" in {found.unit}" if found.unit else ""
    text = f"Is '{found.header}' of {table.file} the {what}{inside} ({found.why_not})?"
    other = found.runner_up.split(" in ")[0]
    choices = tuple(dict.fromkeys(c for c in (name, other) if c))
    return Question(text, table.name, found.header, "from", choices, rows)


def _units_for(name: str, likely_unit: str) -> tuple[str, ...]:
    kinds = {"m": ("ft", "m"), "m**3/s": ("gpm", "L/s", "m**3/h")}
    small = ("in", "mm") if name.startswith("diameter_") else kinds.get(schema.fields()[name].unit, ())
    return tuple(dict.fromkeys(u for u in (likely_unit, *small) if u))


def _lacking(proposal: Proposal) -> list[tuple[str, str]]:
    """Fields the job uses that no column tells, and what is assumed instead, from declared practice."""
    read = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    practice = {row["practice_id"]: f"{row['base']} {row['unit']}".strip() for row in schema.rows("practice")}
    return [
        (names[0], words.say(f"assumed.{stem}", **practice)) for stem, names in USED if not read & set(names)
    ]  # fmt: skip
