"""Which tables of a set belong together: the table of wells, its child tables, and by which columns they join.

Ids are compared whatever their case, zeros and decimals, by their distinct values, so that it stays linear in rows.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import pandas as pd

from pipeline import schema
from pipeline.ingest.intake import folded
from pipeline.ingest.proposal.model import DEPTHS, Guess
from pipeline.ingest.proposal.unknown import Unknown, concepts_in, is_dates

LIKELY = 0.5
UNIQUE = 0.8
_MOST_KEYS = 8
_FILLED = 0.5
_FEWEST_COMMON = 3
# what an id numbers, and what says that it numbers
_NUMBERED = {"well", "borehole", "hole", "place", "permit_word"}
_NUMBERING = {"id", "code", "name"}
# what is numbered besides: samples and activities at a well are not the well
_OF_VISITS = {"result", "visit"}


@dataclass(frozen=True)
class Link:
    """Column ``child_key`` of table ``child`` holds ids of column ``key`` of table ``parent``."""

    parent: int
    key: str
    child: int
    child_key: str
    share: float
    found: float
    strength: float


@dataclass
class Group:
    """A table of wells with the tables that join it.

    Attributes
    ----------
    wells : int
        Place of the table of wells.
    key : str
        Its id column; "" when none was found.
    links : list of Link
        One a child table.
    useless : list of (int, str)
        Tables that join and are not read, with the reason.
    """

    wells: int
    key: str = ""
    links: list[Link] = field(default_factory=list)
    useless: list[tuple[int, str]] = field(default_factory=list)


def told(guesses: list[Guess]) -> set[str]:
    """Fields that a table is likely to tell, ids apart."""
    apart = ("", "well_id", "event_date")
    return {g.field for g in guesses if g.field not in apart and (g.sure or g.field_score >= LIKELY)}


def weight(guesses: list[Guess]) -> float:
    """How much a table tells of wells: depths and levels count most, then places, then all else."""
    fields = told(guesses)
    place = {"latitude_deg", "longitude_deg"} <= fields
    return 3.0 * len(fields & set(DEPTHS)) + 2.0 * place + len(fields - set(DEPTHS))


def key_columns(profile: Unknown, guesses: list[Guess], shared: set[str]) -> list[str]:
    """Columns that may hold ids, the likeliest first.

    Parameters
    ----------
    shared : set of str
        Folded headers that other tables of the set have too.
    """
    ranked = []
    by_header = {g.header: g for g in guesses}
    sites = {g.header for g in guesses if g.field == "well_id" and g.field_score >= LIKELY}
    for place, header in enumerate(profile.headers):
        found = by_header.get(header, Guess(header))
        declared = schema.fields().get(found.field)
        if declared and found.field != "well_id" and (found.sure or found.field_score >= 0.6):
            continue
        values = profile.values(header)
        if len(values) < _FILLED * len(profile.sample) or is_dates(profile, header):
            continue
        concepts = concepts_in(header)
        if concepts & _OF_VISITS and "permit_word" not in concepts and sites - {header}:
            continue
        mark = 4.0 * (found.field == "well_id") + 2.0 * (folded(header) in shared)
        mark += 1.0 * bool(concepts & _NUMBERED) + 1.0 * bool(concepts & _NUMBERING)
        if mark < 2.0:
            continue
        called = found.field == "well_id" and found.field_score >= LIKELY
        if not called and values.nunique() < min(_FEWEST_COMMON, profile.rows):
            continue
        # a name that two tables share is an id only if its values could be one
        if found.field == "well_id" or concepts & _NUMBERING or _could_be_ids(values):
            ranked.append((-mark, place, header))
    return [header for _, _, header in sorted(ranked)[:_MOST_KEYS]]


def _could_be_ids(values: pd.Series) -> bool:
    """Whether values are short texts without blanks or decimals, most of them different."""
    short = values.str.len().median() <= 24 and not values.str.contains(r"\s\S+\s").any()
    decimals = values.str.fullmatch(r"-?\d+\.\d*[1-9]\d*").mean()
    return bool(short and decimals < 0.05 and values.nunique() >= 10)


def _plain_numbers(profile: Unknown, header: str) -> bool:
    """Whether ids are short whole numbers, such as any column of running numbers holds."""
    values, _ = profile.keys(header)
    return bool(len(values)) and all(len(v) <= 4 and v.isdigit() for v in values[:200])


def links(tables: list[Unknown], guesses: list[list[Guess]]) -> list[Link]:
    """All joins between tables, by the share of ids that one holds of the other."""
    headers: dict[str, int] = defaultdict(int)
    for table in tables:
        for name in set(table.key):
            headers[name] += 1
    shared = {name for name, count in headers.items() if count > 1}
    columns = [key_columns(t, g, shared) for t, g in zip(tables, guesses, strict=True)]
    for table, names in zip(tables, columns, strict=True):
        table.gathered(names)
    named = [{g.header: g.field_score for g in found if g.field == "well_id"} for found in guesses]
    sets = [{name: set(table.keys(name)[0]) for name in names} for table, names in zip(tables, columns, strict=True)]
    out = []
    for parent, child in ((p, c) for p in range(len(tables)) for c in range(len(tables)) if p != c):
        for key in columns[parent]:
            unique = tables[parent].keys(key)[1]
            if unique < UNIQUE:
                continue
            for child_key in columns[child]:
                one, two = sets[parent][key], sets[child][child_key]
                common = len(one & two)
                if not common:
                    continue
                same = folded(key) == folded(child_key)
                ids = (key in named[parent]) + (child_key in named[child])
                share, found = common / len(two), common / len(one)
                plain = _plain_numbers(tables[child], child_key)
                enough = common >= min(_FEWEST_COMMON, len(two), len(one))
                # one name for the id in both, and some wells in both: the one is an excerpt, or goes further
                if not enough or not (share >= 0.5 or found >= 0.5 or (same and ids == 2)):
                    continue
                if plain and not same and ids < 2:
                    continue
                sure = named[parent].get(key, 0.0) + named[child].get(child_key, 0.0)
                strength = max(share, found) + 0.3 * same + 0.3 * sure + 0.1 * unique
                out.append(Link(parent, key, child, child_key, share, found, strength))
    return out


def groups(tables: list[Unknown], guesses: list[list[Guess]], fit: list[bool]) -> tuple[list[Group], list[int]]:
    """Tables of wells with their child tables, and the tables that belong to none.

    Parameters
    ----------
    fit : list of bool
        Whether a table may be a table of wells on its own.
    """
    if len(tables) == 1:
        return ([Group(0)], []) if fit[0] else ([], [0])
    found = links(tables, guesses)
    weights = [weight(g) for g in guesses]
    left = set(range(len(tables)))
    out: list[Group] = []

    def worth(place: int) -> tuple[float, float, int]:
        mine = [link for link in found if link.parent == place and link.child in left]
        held: dict[int, float] = defaultdict(float)
        for link in mine:
            held[link.child] = max(held[link.child], link.share)
        return weights[place] + 2.0 * sum(held.values()), _uniqueness(tables[place], mine), -place

    while left:
        heads = [p for p in left if any(link.parent == p and link.child in left for link in found)]
        heads = [p for p in heads if weights[p] > 0]
        if not heads:
            break
        wells = max(heads, key=worth)
        by_key: dict[str, dict[int, Link]] = defaultdict(dict)
        for link in (k for k in found if k.parent == wells and k.child in left):
            best = by_key[link.key].get(link.child)
            if best is None or link.strength > best.strength:
                by_key[link.key][link.child] = link
        key = max(by_key, key=lambda k: sum(link.strength for link in by_key[k].values()))
        group = Group(wells, key)
        left.discard(wells)
        for child, link in sorted(by_key[key].items()):
            left.discard(child)
            if told(guesses[child]):
                group.links.append(link)
            else:
                group.useless.append((child, "it tells nothing that the job uses"))
        for other in sorted({k.child for k in found if k.parent == wells} & left):
            if not fit[other]:
                left.discard(other)
                group.useless.append((other, f"it joins by another column than '{key}'"))
        out.append(group)
    alone = [p for p in sorted(left) if fit[p]]
    out += [Group(p) for p in alone]
    return sorted(out, key=lambda g: g.wells), sorted(left - set(alone))


def _uniqueness(profile: Unknown, mine: list[Link]) -> float:
    return max((profile.keys(link.key)[1] for link in mine), default=0.0)


def says(link: Link, tables: list[Unknown]) -> str:
    """The join in words."""
    parent, child = tables[link.parent], tables[link.child]
    if link.share >= link.found:
        return f"{link.share:.0%} of its '{link.child_key}' are '{link.key}' of {parent.name}"
    return f"{link.found:.0%} of the '{link.key}' of {parent.name} stand in its '{link.child_key}'" + (
        f" ({child.name})" if parent.name == child.name else "")
