"""Names misspelt now and then: a rare spelling beside one frequent name is taken for it, and said so."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa

from pipeline import schema
from pipeline.normalise import text
from pipeline.normalise.issues import IssueLog

SHORTEST, LONG = 5, 8
_KEPT = re.compile(r"\d+|\b[ivxlc]+\b|\b\w\b")


@cache
def _rarer() -> float:
    """How many times rarer a slip must be than the name it is taken for, from row N402 of rules.csv."""
    return float(next(row["limit"] for row in schema.rows("rules") if row["code"] == "N402"))


def distance(left: str, right: str, most: int) -> int:
    """Letters put in, left out, changed or exchanged with their neighbour; ``most`` + 1 where it is more.

    Restricted Damerau-Levenshtein distance (optimal string alignment).
    """
    if abs(len(left) - len(right)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(right) + 1))
    for i, a in enumerate(left, 1):
        following = [i]
        for j, b in enumerate(right, 1):
            least = min(row[j] + 1, following[j - 1] + 1, row[j - 1] + (a != b))
            if before and j > 1 and a == right[j - 2] and left[i - 2] == b:
                least = min(least, before[j - 2] + 1)
            following.append(least)
        if min(following) > most:
            return most + 1
        before, row = row, following
    return min(row[-1], most + 1)


def _allowed(name: str) -> int:
    """Largest distance of a slip: one letter, two in a name of eight letters or more, none in a short one."""
    letters = sum(c.isalpha() for c in name)
    return 0 if letters < SHORTEST else 1 if letters < LONG else 2


def _marks(name: str) -> tuple[list[str], str]:
    """What no slip may change: figures, numerals, single letters, and the first letter of every word."""
    words = name.split()
    return sorted(_KEPT.findall(name)), "".join(w[0] for w in words)


def _alike(left: str, right: str) -> bool:
    """Whether two names differ in nothing that tells real names apart (North and South, Ward 1 and Ward 2)."""
    (kept, first), (other, second) = _marks(left), _marks(right)
    return kept == other and (first == second if len(first) == len(second) else first[0] == second[0])


def slips(counts: dict[str, int]) -> dict[str, str]:
    """Rare spellings and the frequent name each is taken for.

    Parameters
    ----------
    counts : dict
        Records of each name; names are compared in lower case.

    Returns
    -------
    dict
        Only spellings at the allowed distance of exactly one name at least 20 times as frequent, with no
        other name as near.
    """
    names = sorted(counts)
    folded = {name: name.casefold() for name in names}
    most = max(counts.values(), default=0)
    rare = [n for n in names if counts[n] * _rarer() <= most and _allowed(folded[n])]
    near: dict[str, list[tuple[int, str]]] = {}
    groups: dict[str, list[str]] = defaultdict(list)
    for name in names:
        groups[folded[name][:1]].append(name)
    tallies = {name: Counter(folded[name]) for name in names} if rare else {}
    for name in rare:
        limit, found = _allowed(folded[name]), []
        for other in groups[folded[name][:1]]:
            if other == name or abs(len(other) - len(name)) > limit:
                continue
            # a letter changed shows twice in the tally of letters, one put in once
            apart = sum(((tallies[name] - tallies[other]) + (tallies[other] - tallies[name])).values())
            if apart <= 2 * limit:
                gap = distance(folded[name], folded[other], limit)
                if gap <= limit:
                    found.append((gap, other))
        near[name] = found
    chosen: dict[str, str] = {}
    for name in rare:
        fits = [(gap, o) for gap, o in near[name]
                if counts[o] >= _rarer() * counts[name] and _alike(folded[name], folded[o])]  # fmt: skip
        nearest = min((gap for gap, _ in fits), default=0)
        best = [o for gap, o in fits if gap == nearest]
        if len(best) == 1:
            chosen[name] = best[0]
    # another name as near, unless it is a slip of the same name, leaves the matter open
    gap_to = {name: dict((o, g) for g, o in near[name]) for name in chosen}
    return {
        name: target for name, target in chosen.items()
        if target not in chosen and not any(
            gap <= gap_to[name][target] and other != target and chosen.get(other) != target
            for gap, other in near[name]
        )
    }  # fmt: skip


def settle(names: pd.Series, areas: pd.Series | None, field: str, source_id: str, log: IssueLog) -> pd.Series:
    """Names with slips of the pen mended, area by area of one source; one issue a spelling.

    Parameters
    ----------
    names, areas : Series of text, one a record
    """
    coded = text.encode(names)
    nowhere = text.Coded(np.zeros(len(names), dtype=np.int32), pa.array([""]))
    place = text.encode(areas) if areas is not None else nowhere
    size = len(coded.texts) + 1
    pairs, rows = np.unique(place.codes.astype(np.int64) * size + coded.codes, return_counts=True)
    words, moved = coded.texts.to_pylist(), {}
    by_area: dict[int, dict[str, int]] = defaultdict(dict)
    for pair, count in zip(pairs.tolist(), rows.tolist(), strict=True):
        area, name = divmod(pair, size)
        if name < size - 1:  # the last stands for a name that is missing
            by_area[area][words[name]] = count
    for area, tally in sorted(by_area.items()):
        for name, target in sorted(slips(tally).items()):
            moved[area, words.index(name)] = words.index(target)
            log.once("N402", field, source_id, name,
                     f"'{target}' ({tally[target]} rows) is one slip away; {tally[name]} rows", target)  # fmt: skip
    if not moved:
        return names
    codes = coded.codes.copy()
    for (area, name), target in moved.items():
        codes[(coded.codes == name) & (place.codes == area)] = target
    return text.series(coded.texts, codes)
