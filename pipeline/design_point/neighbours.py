"""A missing value from the nearest comparable wells. Looks across wells: learn on the whole table, look up one by one.

For each source the recorded values of one quantity are held with their places in a search tree. A well that
lacks the value takes the weighted median of its nearest neighbours, each carried over to the well's own ground
and depth; how far ground counts (a water table that follows the ground or lies level), how fast weight falls
with distance, and what a difference in depth, use or decade is worth, is learned from the source by leaving
wells out. The band comes from the spread among the neighbours, scaled so that it holds the stated share of
wells left out, by distance of the neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import scalar
from pipeline.design_point.bands import Floats

THINNED = (1, 8, 64)  # every so many donors are kept when the band is learned for neighbours farther away
FEWEST_THINNED = 50  # donors that a thinned set must keep
CLASSES = 6  # of distance, for the scale of the band
STRIP = 10.0  # km: wells are asked for strip by strip
DONORS_LEARNED = 200_000  # donors among which the manner of weighing is tried out
GAIN = 0.2  # least relative gain by which a manner is changed, times the root of the wells left out
TAIL = 0.1  # share of wells beyond each end of a band


@dataclass(frozen=True)
class Told:
    """What wells tell of themselves to a search: arrays over wells, NaN or -1 where not recorded.

    ``point`` is in km, ``ground`` in m above datum, ``depth`` in m, ``decade`` in years over ten, ``use`` a code.
    """

    key: NDArray[np.uint64]
    point: Floats
    ground: Floats
    depth: Floats
    use: NDArray[np.int64]
    decade: Floats

    def take(self, which: NDArray) -> Told:
        """Some of the wells."""
        return Told(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Manner:
    """How neighbours are weighed: learned for each source and quantity, or declared where too few wells tell."""

    depth_km: float  # km that count as much as a depth e times as large; 0: depth is not looked at
    power: float  # of distance in the weight
    least_km: float  # distance below which nearer is no better
    ground: float  # share of a difference in ground level that the value follows
    slope: float  # of the value on depth (per m, or per e-fold where values are logarithms)
    other_use: float  # weight of a neighbour of another use
    decade: float  # share of weight kept a decade apart


@scalar
def _weighted(index, distance, key, ground, depth, use, decade, from_key, value, from_ground, from_depth, from_use,
              from_decade, most, power, least, by_ground, by_depth, other_use, kept, out):  # fmt: skip
    """Weighted median, spread about the plain weighted median and mean distance of each well; NaN without a donor."""
    width = index.shape[1]
    carried = np.empty(width)
    weight = np.empty(width)
    plain = np.empty(width)
    for i in range(index.shape[0]):
        count = 0
        far = 0.0
        for j in range(width):
            donor = index[i, j]
            if donor >= len(value) or from_key[donor] == key[i] or count >= most:
                continue
            moved = value[donor]
            if by_ground != 0.0:
                moved += by_ground * (ground[i] - from_ground[donor])
            if by_depth != 0.0:
                moved += by_depth * (depth[i] - from_depth[donor])
            if np.isnan(moved):
                continue
            w = (distance[i, j] + least) ** -power
            p = w
            far += distance[i, j]
            if use[i] >= 0 and from_use[donor] >= 0 and use[i] != from_use[donor]:
                p *= other_use
            apart = abs(decade[i] - from_decade[donor])
            if not np.isnan(apart):
                p *= kept**apart
            place = count
            while place > 0 and carried[place - 1] > moved:
                carried[place] = carried[place - 1]
                weight[place] = weight[place - 1]
                plain[place] = plain[place - 1]
                place -= 1
            carried[place] = moved
            weight[place] = p
            plain[place] = w
            count += 1
        if count == 0:
            out[i, 0] = np.nan
            out[i, 1] = np.nan
            out[i, 2] = np.nan
            continue
        total = 0.0
        whole = 0.0
        for j in range(count):
            total += weight[j]
            whole += plain[j]
        run = 0.0
        middle = carried[count - 1]
        for j in range(count):
            run += weight[j]
            if run >= 0.5 * total:
                middle = carried[j]
                break
        run = 0.0
        centre = carried[count - 1]
        for j in range(count):
            run += plain[j]
            if run >= 0.5 * whole:
                centre = carried[j]
                break
        spread = 0.0
        for j in range(count):
            spread += plain[j] * abs(carried[j] - centre)
        out[i, 0] = middle
        out[i, 1] = spread / whole
        out[i, 2] = far / count


@dataclass(frozen=True)
class View:
    """One way of looking: with or without ground level and depth, its manner, and the scale of its band.

    The first view of a source looks at places alone. The spread and the distance of its neighbours are those of every
    view, so that a record that tells more differs in its scale only, and scales never grow with what is told.
    """

    has_ground: bool
    has_depth: bool
    manner: Manner
    down: Floats  # scale of the spread towards low, by class of distance
    up: Floats
    reach: float  # km beyond which groups of wells tell more than neighbours


@dataclass(frozen=True)
class Donors:
    """Recorded values of one quantity in one source, with the views learned from them."""

    told: Told
    value: Floats
    near: int
    log_depth: bool
    trees: dict[tuple[float, int], tuple[Any, NDArray[np.intp]]]
    views: tuple[View, ...] = ()
    floor: float = 0.0  # least spread
    edges: Floats = field(default_factory=lambda: np.empty(0))  # ln km between classes of distance

    def _tree(self, depth_km: float, thin: int) -> tuple[Any, NDArray[np.intp]]:
        """Search tree over the donors, or over one in ``thin`` of them by id; built once."""
        from scipy.spatial import cKDTree

        if (depth_km, thin) not in self.trees:
            places = _places(self.told, depth_km)
            usable = np.isfinite(places).all(axis=1)
            if thin > 1:
                usable &= _mixed(self.told.key) % np.uint64(thin) == 0
            which = np.flatnonzero(usable)
            self.trees[depth_km, thin] = cKDTree(places[which], balanced_tree=False, compact_nodes=False), which
        return self.trees[depth_km, thin]

    def search(self, wells: Told, manner: Manner, thin: int = 1) -> tuple[Floats, NDArray[np.int64]]:
        """Distances (km) and places of the nearest donors of each well, the nearest first."""
        tree, which = self._tree(manner.depth_km, thin)
        asked = _places(wells, manner.depth_km)
        count = min(self.near + 1, len(which))
        distance = np.full((len(asked), max(count, 1)), np.inf)
        index = np.full(distance.shape, len(self.value), np.int64)
        can = np.isfinite(asked).all(axis=1)
        if count and can.any():
            rows = np.flatnonzero(can)
            rows = rows[np.lexsort((asked[rows, 1] // STRIP, asked[rows, 0] // STRIP))]  # neighbours stay in the cache
            far, place = tree.query(asked[rows], count)
            distance[rows] = far.reshape(-1, count)
            index[rows] = np.append(which, len(self.value))[place.reshape(-1, count)]
        return distance, index

    def weigh(self, wells: Told, manner: Manner, found: tuple[Floats, NDArray[np.int64]]) -> Floats:
        """Middle, spread and mean distance (km) for each well, shape (n, 3)."""
        out = np.empty((len(wells.key), 3))
        distance, index = found
        depth, from_depth = wells.depth, self.told.depth
        if self.log_depth:
            depth, from_depth = np.log(depth), np.log(from_depth)
        _weighted(index, distance, wells.key, wells.ground, depth, wells.use, wells.decade, self.told.key, self.value,
                  self.told.ground, from_depth, self.told.use, self.told.decade, self.near, manner.power,
                  manner.least_km, manner.ground, manner.slope, manner.other_use, manner.decade, out)  # fmt: skip
        return out

    def estimate(self, wells: Told) -> Floats:
        """Low, middle and high of each well from its neighbours in this source, shape (n, 3); NaN beyond their reach.

        The middle is of the view that looks at most of what the well tells, and so is the scale of the band.
        """
        size = len(wells.key)
        middle, down, up = (np.full(size, np.nan) for _ in range(3))
        found: dict[float, tuple[Floats, NDArray[np.int64]]] = {}
        spread, place, apart = np.empty(0), np.empty(0, np.intp), np.empty(0)
        for number, view in enumerate(self.views):
            scale = view.manner.depth_km
            if scale not in found:
                found[scale] = self.search(wells, view.manner)
            told = self.weigh(wells, view.manner, found[scale])
            if number == 0:
                spread, place, apart = self.spread(told)
            can = ~np.isnan(told[:, 0]) & (apart <= view.reach)
            can &= ~np.isnan(wells.ground) | (not view.has_ground)
            can &= ~np.isnan(wells.depth) | (not view.has_depth)
            middle = np.where(can, told[:, 0], middle)
            down = np.where(can, spread * view.down[place], down)
            up = np.where(can, spread * view.up[place], up)
        return np.column_stack([middle - down, middle, middle + up])

    def spread(self, told: Floats) -> tuple[Floats, NDArray[np.intp], Floats]:
        """Spread, class of distance and distance (km) from what the first view told."""
        with np.errstate(divide="ignore", invalid="ignore"):
            place = np.searchsorted(self.edges, np.log(told[:, 2]))
        return np.hypot(told[:, 1], self.floor), np.minimum(place, len(self.edges)), told[:, 2]


def _mixed(key: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A number of each well that is unlike its key in every bit, for drawing samples that depend on ids alone."""
    mixed = (key ^ (key >> np.uint64(31))) * np.uint64(0xBF58476D1CE4E5B9)
    return mixed ^ (mixed >> np.uint64(29))


def _places(wells: Told, depth_km: float) -> Floats:
    """Places in which wells are near one another: on the earth, and by the logarithm of depth."""
    if not depth_km:
        return wells.point
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.column_stack([wells.point, depth_km * np.log(wells.depth)])


def quantile_left_out(values: Floats, share: float) -> float:
    """The least bound that holds ``share`` of one more value drawn like these (split conformal rule).

    Source: ``conformal_regression_2018`` in schemas/references.csv.
    """
    ordered = np.sort(values)
    place = int(np.ceil(share * (len(ordered) + 1))) - 1
    if not len(ordered):
        return np.inf
    return float(ordered[place]) if place < len(ordered) else float(ordered[-1]) * 1.5


def sample_of(key: NDArray[np.uint64], most: int) -> NDArray[np.intp]:
    """Places of at most ``most`` wells, drawn by their ids, in the order of their ids."""
    mixed = _mixed(key)
    order = np.lexsort((key, mixed))[:most]
    return order[np.argsort(key[order], kind="stable")]


def _loss(error: Floats) -> float:
    """Mean square root of the misses: robust, and smoother than their median."""
    error = error[~np.isnan(error)]
    return float(np.mean(np.sqrt(np.abs(error)))) if len(error) else np.inf


def learn_donors(
    told: Told, value: Floats, fallback: Floats, grid: dict[str, tuple[float, ...]], declared: Manner,
    near: int, fewest: int, learned_from: int, sample: int, most: int, log_depth: bool,
    views: tuple[tuple[bool, bool], ...],
) -> Donors | None:  # fmt: skip
    """Donors of one quantity and one source, with their views; None where too few wells tell.

    Parameters
    ----------
    told, value : Told, ndarray
        The whole source; wells without a value or without coordinates are left aside.
    fallback : ndarray
        What groups of wells would say for each well: neighbours are not used farther away than where they beat it.
    grid : dict
        For each field of :class:`Manner` the values to be tried.
    most : int
        Donors held; of more, as many are drawn by id. Memory is bounded so, and a country of many wells has
        neighbours enough.
    views : tuple of (ground, depth)
        From the one that looks at least to the one that looks at most.
    """
    tells = np.isfinite(value) & np.isfinite(told.point).all(axis=1)
    if tells.sum() < fewest:
        return None
    which = np.flatnonzero(tells)
    which = which[sample_of(told.key[which], most)]
    donors = Donors(told.take(which), value[which], near, log_depth, {})
    drawn = sample_of(donors.told.key, sample)
    manners = []
    for has_ground, has_depth in views:
        usable = np.ones(len(drawn), bool)
        if has_ground:
            usable &= np.isfinite(donors.told.ground[drawn])
        if has_depth:
            usable &= np.isfinite(donors.told.depth[drawn])
        if usable.sum() < fewest:
            continue
        manner = replace(declared, ground=declared.ground * has_ground, depth_km=declared.depth_km * has_depth,
                         slope=declared.slope * has_depth)  # fmt: skip
        if usable.sum() >= learned_from:
            manner = _learned(donors, drawn[usable], manner, grid, has_ground, has_depth)
        manners.append((has_ground, has_depth, manner))
    out = _scaled(donors, drawn, manners, fallback[which][drawn])
    out.trees.clear()
    for view in out.views:  # built once here, read by every thread
        out._tree(view.manner.depth_km, 1)
    return out


def _learned(donors: Donors, here: NDArray, manner: Manner, grid: dict[str, tuple[float, ...]],
             has_ground: bool, has_depth: bool) -> Manner:  # fmt: skip
    """The manner with the least loss on wells left out, one setting changed at a time, twice around."""
    wells = donors.told.take(here)
    truth = donors.value[here]
    thin = max(1, len(donors.value) // DONORS_LEARNED)
    found: dict[float, tuple[Floats, NDArray[np.int64]]] = {}

    def loss(tried: Manner) -> float:
        if tried.depth_km not in found:
            found[tried.depth_km] = donors.search(wells, tried, thin)
        return _loss(donors.weigh(wells, tried, found[tried.depth_km])[:, 0] - truth)

    best = loss(manner)
    # what few wells left out seem to gain is chance
    enough = 1 - GAIN / np.sqrt(len(here))
    for _ in range(2):
        for name, candidates in grid.items():
            if (name == "ground" and not has_ground) or (name in ("slope", "depth_km") and not has_depth):
                continue
            for candidate in candidates:
                tried = replace(manner, **{name: candidate})
                if (worse := loss(tried)) < best * enough:
                    best, manner = worse, tried
    return manner


def _scaled(donors: Donors, drawn: NDArray, manners: list[tuple[bool, bool, Manner]], fallback: Floats) -> Donors:
    """Donors with the scales of the bands of every view, learned from wells left out.

    Wells are left out at several densities of donors, so that the scales hold for wells far from any neighbour too.
    """
    wells, truth = donors.told.take(drawn), donors.value[drawn]
    parts = []
    for thin in THINNED:
        if len(donors.value) < FEWEST_THINNED * thin and thin > 1:
            break
        told = [donors.weigh(wells, manner, donors.search(wells, manner, thin)) for _, _, manner in manners]
        missed = [truth - t[:, 0] for t in told]
        parts.append(np.column_stack([told[0][:, 1], told[0][:, 2], truth - fallback, *missed]))
    seen = np.concatenate(parts)
    seen = seen[np.isfinite(seen[:, 3])]
    spread, apart, other = seen[:, 0], np.log(np.maximum(seen[:, 1], 1e-6)), seen[:, 2]
    classes = max(1, min(CLASSES, len(seen) // 200))
    edges = np.unique(np.quantile(apart, np.arange(1, classes) / classes))
    donors = replace(donors, floor=max(0.1 * float(np.median(spread)), 1e-9), edges=edges)
    scale, place = np.hypot(spread, donors.floor), np.searchsorted(edges, apart)
    ends = np.append(np.exp(edges), np.exp(apart.max()))
    scales = np.empty((len(manners), 2, len(ends)))
    reaches = []
    for number in range(len(manners)):
        miss = seen[:, 3 + number]
        reach = 0.0
        for part, end in enumerate(ends):
            mine = (place == part) & ~np.isnan(miss)
            scales[number, 0, part] = max(quantile_left_out(-miss[mine] / scale[mine], 1 - TAIL), 0.0)
            scales[number, 1, part] = max(quantile_left_out(miss[mine] / scale[mine], 1 - TAIL), 0.0)
            both = mine & ~np.isnan(other)
            if reach == (ends[part - 1] if part else 0.0) and _loss(miss[both]) <= _loss(other[both]):
                reach = float(end)
        reaches.append(reach)
    views = []
    for has_ground, has_depth, manner in manners:
        # where less is told the band is at least as wide, and neighbours are trusted no farther
        fuller = [n for n, (g, d, _) in enumerate(manners) if g >= has_ground and d >= has_depth]
        lesser = [n for n, (g, d, _) in enumerate(manners) if g <= has_ground and d <= has_depth]
        down, up = np.max(scales[fuller], axis=0)
        views.append(View(has_ground, has_depth, manner, down, up, max(reaches[n] for n in lesser)))
    return replace(donors, views=tuple(views))
