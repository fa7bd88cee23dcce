"""From guesses by column to proposals by source: what is doubted, what to ask, what is missing."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pandas as pd

from pipeline import schema
from pipeline.ingest.proposal import dictionary, editions, related, repeated
from pipeline.ingest.proposal.asking import judge, lacking, likely
from pipeline.ingest.proposal.circumstances import GRID, dates, market_told, places, standing_apart
from pipeline.ingest.proposal.kinds import lines_by_kind
from pipeline.ingest.proposal.model import DEPTHS, Evidence, Guess, Proposal, TableProposal
from pipeline.ingest.proposal.place import Context
from pipeline.ingest.proposal.score import guess_table
from pipeline.ingest.proposal.table_words import named
from pipeline.ingest.proposal.unknown import Unknown, few, merged, numbers_of

Engine = Callable[[tuple[str, ...], pd.DataFrame, "list[str] | None", "dict[str, str] | None", Context], list[Guess]]
# words that make the contrary, or a choice, of the words beside them
_TURNS = {"no", "not", "non", "without", "none", "never", "or", "but", "except"}
# reasons of the engine by columns
RIVALS, EMPTY = "two columns claim this field", "no cell is filled"


@dataclass
class Source:
    """Tables that would be read as one source, with what is proposed for them."""

    proposal: Proposal
    profiles: list[Unknown]

    def table_of(self, table: str | Unknown) -> TableProposal | None:
        """What is proposed for a table, by what was looked at or by its name; None where it is not of the source."""
        pairs = zip(self.profiles, self.proposal.tables, strict=True)
        return next((proposed for profile, proposed in pairs if profile.holds(table)), None)


@dataclass
class Assembled:
    """Everything proposed for a set of tables that no layout knows.

    Attributes
    ----------
    sources : list of Source
    aside : list of (Unknown, reason)
        Tables that are of no use on purpose: they describe others, or tell nothing the job uses.
    """

    sources: list[Source] = field(default_factory=list)
    aside: list[tuple[Unknown, str]] = field(default_factory=list)

    def source_of(self, table: str | Unknown) -> Source | None:
        """The source a table belongs to, by what was looked at or by its name."""
        return next((s for s in self.sources if any(p.holds(table) for p in s.profiles)), None)

    def why_aside(self, table: str | Unknown) -> str:
        """Why a table is left aside on purpose; "" where it is not."""
        return next((why for p, why in self.aside if p.holds(table)), "")


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
    targets: list[tuple[str, tuple[str, ...], Unknown | None]] = [(n, h, None) for n, h in known]
    targets += [(t.name, t.headers, t) for t in profiles]
    described, sisters = dictionary.describe(profiles, targets)
    out = Assembled()
    for sister in sisters:
        out.aside.append((profiles[sister.place], sister.reason()))
    apart = {s.place for s in sisters}
    tables = _merged([t for place, t in enumerate(profiles) if place not in apart])
    for table in tables:
        told = next((described[name] for name in table.files if name in described), None)
        if told is not None:
            described[table.name] = told
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
        out.sources.append(source)
        out.aside += [(tables[place], f"Of no use for the job: {why}.") for place, why in group.useless]
    for place in alone:
        out.sources.append(_source(related.Group(place), tables, guesses, long, described))
    taken: set[str] = set()
    for source in out.sources:
        name = base = free_id(source.profiles[0].name)
        number = 1
        while name in taken:
            number += 1
            name = f"{base}_{number}"
        taken.add(name)
        source.proposal.source_id = name
    editions.tell([(s.proposal, s.profiles[0]) for s in out.sources])
    return out


def _merged(profiles: list[Unknown]) -> list[Unknown]:
    by_key: dict[tuple[tuple[str, ...], str], list[Unknown]] = {}
    for profile in profiles:
        # tables of casing and of screen may have the same columns: from, to
        by_key.setdefault((profile.key, named(profile.name)), []).append(profile)
    return [merged(parts) for parts in by_key.values()]


def _guessed(
    table: Unknown, told: dictionary.Described | None, engine: Engine, long: repeated.Filtered | None, context: Context
) -> list[Guess]:  # fmt: skip
    """Guesses of a table, its codes spelled out where a sister table says what they stand for."""
    told = told or dictionary.Described()
    sample = _without_missing(table, dictionary.decoded(table.sample, told.codes))
    # the grid in brackets is about the coordinates, not about what the column means
    plain = [GRID.sub(" ", h).strip() or h for h in table.headers]
    headers = tuple(plain) if len(set(plain)) == len(plain) else table.headers
    columns = {new: told.columns[old] for new, old in zip(headers, table.headers, strict=True) if old in told.columns}
    sample = sample if headers == table.headers else sample.set_axis(list(headers), axis=1)
    found = engine(headers, sample, table.units, columns, replace(context, table=table.name))
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
    return Context(tuple(dict.fromkeys(areas)), box, tuple(dict.fromkeys(units)), market)


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
    if set(plain.split()) & _TURNS:
        return ""
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
        table.missing = {g.header: texts for g in table.guesses
                         if (g.sure or likely(g)) and (texts := standing_apart(profile, g.header))}  # fmt: skip
    places(out, profiles, described)
    dates(out, profiles)
    out.market = market_told(out)
    judge(out, profiles)
    out.missing = lacking(out)
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
