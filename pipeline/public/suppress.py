"""Suppression of small counts in a table with totals, so that hidden counts cannot be worked out again.

Non-zero counts under a least are hidden (zeros may be shown); then others, so that no sum gives a hidden
count away; then a reader's best attack is carried out: linear programming over everything published. Where a
small count could be narrowed down to too few values, one more count is hidden. Method of primary and
secondary (complementary) suppression as agencies' small-number standards ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Relation = tuple[int, Sequence[int]]  # a sum and its parts


def hidden(counts: NDArray[np.int64], relations: Sequence[Relation], least: int, width: int) -> NDArray[np.bool_]:
    """Which counts must not be shown.

    Parameters
    ----------
    counts : ndarray of int (n)
        Every count that would be published, sums among them.
    relations : sequence of (sum, parts)
        Places of counts that add up.
    least : int
        Non-zero counts below it are hidden.
    width : int
        A hidden small count must stay unknown within at least so many counts (highest less lowest possible).

    Returns
    -------
    ndarray of bool (n)
    """
    small = (counts > 0) & (counts < least)
    out = small.copy()
    members = [np.array([total, *parts]) for total, parts in relations]
    of_count: dict[int, list[int]] = {}
    for number, group in enumerate(members):
        for place in group:
            of_count.setdefault(int(place), []).append(number)
    waiting = set(range(len(members)))
    while True:
        while waiting:
            group = members[waiting.pop()]
            if out[group].sum() == 1:
                other = _next(counts, out, group)
                if other >= 0:
                    out[other] = True
                    waiting.update(of_count[other])
        weak = _given_away(counts, relations, out, small, width)
        if not weak:
            return out
        for place in weak:
            found = [_next(counts, out, members[number]) for number in of_count.get(place, [])]
            found = [f for f in found if f >= 0]
            if found:
                other = min(found, key=lambda f: (counts[f], f))
                out[other] = True
                waiting.update(of_count[other])
        if not waiting:  # nothing is left to hide
            return out


def _next(counts: NDArray[np.int64], out: NDArray[np.bool_], group: NDArray[np.int64]) -> int:
    """The smallest count of a relation that is shown and not zero, parts before the sum; -1 for none."""
    parts = group[1:]
    free = parts[~out[parts] & (counts[parts] > 0)]
    if len(free):
        return int(free[np.argmin(counts[free])])
    return int(group[0]) if not out[group[0]] and counts[group[0]] > 0 else -1


def bounds(
    counts: NDArray[np.int64], relations: Sequence[Relation], out: NDArray[np.bool_], asked: Sequence[int]
) -> dict[int, tuple[float, float]]:
    """Lowest and highest value of hidden counts that everything shown allows.

    Parameters
    ----------
    asked : sequence of int
        Places of the hidden counts in question.

    Notes
    -----
    A reader knows every count shown, every relation, and that a hidden count is at least one. Linear
    programming (HiGHS through SciPy) over the connected part of the relations.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    places = np.flatnonzero(out)
    at = {int(place): k for k, place in enumerate(places)}
    rows, columns, values, right = [], [], [], []
    for total, parts in relations:
        terms = [(total, 1.0), *((part, -1.0) for part in parts)]
        unknown = [(at[int(p)], sign) for p, sign in terms if out[p]]
        if not unknown:
            continue
        right.append(-sum(sign * float(counts[p]) for p, sign in terms if not out[p]))
        for column, sign in unknown:
            rows.append(len(right) - 1)
            columns.append(column)
            values.append(sign)
    matrix = csr_array((values, (rows, columns)), shape=(len(right), len(places)))
    link = abs(matrix).T @ abs(matrix)
    _, part_of = connected_components(link, directed=False)
    answer: dict[int, tuple[float, float]] = {}
    for part in sorted({int(part_of[at[int(p)]]) for p in asked}):
        here = np.flatnonzero(part_of == part)
        lines = np.flatnonzero(np.diff(matrix[:, here].tocsr().indptr) > 0)
        left, known = matrix[lines][:, here], np.array(right)[lines]
        for place in asked:
            column_of = np.flatnonzero(here == at[int(place)])
            if not len(column_of):
                continue
            aim = np.zeros(len(here))
            aim[column_of[0]] = 1.0
            ends = []
            for sign in (1.0, -1.0):
                if not len(lines):
                    ends.append(1.0 if sign > 0 else np.inf)
                    continue
                found = linprog(sign * aim, A_eq=left, b_eq=known, bounds=(1, None), method="highs")
                ends.append(sign * found.fun if found.status == 0 else (1.0 if sign > 0 else np.inf))
            answer[int(place)] = (ends[0], ends[1])
    return answer


def _given_away(
    counts: NDArray[np.int64], relations: Sequence[Relation], out: NDArray[np.bool_], small: NDArray[np.bool_],
    width: int,
) -> list[int]:
    """Small counts that could be narrowed down to less than ``width``."""
    asked = [int(p) for p in np.flatnonzero(small)]
    if not asked:
        return []
    return [place for place, (low, high) in bounds(counts, relations, out, asked).items() if high - low < width]
