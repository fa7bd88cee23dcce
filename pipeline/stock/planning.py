"""The stock plan: what each branch keeps of each item, from the jobs of the wells that it serves."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import words
from pipeline.materials.goods import Catalogue
from pipeline.settings import Settings
from pipeline.stock import coils, compound, files, rules, simulate
from pipeline.stock.jobs import Jobs

Floats = NDArray[np.float64]
DAYS_A_YEAR = 365.25
_PERIOD_YEARS = 1.0 / 12.0  # classes of demand are those of monthly demand
_SIMULATED_YEARS, _WARM_YEARS = 20, 2


@dataclass(frozen=True)
class Line:
    """One thing to stock at one place: yearly jobs, chance of each number of pieces a job, and its terms."""

    branch_id: str
    stock_id: str
    item_id: str
    length_m: float
    jobs_year: float
    sizes: Floats
    terms: dict[str, Any] = field(default_factory=dict)

    @property
    def moments(self) -> tuple[float, float]:
        """First and second moment of the pieces of a job."""
        size = np.arange(len(self.sizes))
        return float(self.sizes @ size), float(self.sizes @ size**2)


def stock_id(item_id: str, length_m: float, step_m: float) -> str:
    """Name of a coil of one length in the unit of its market, ``pe3408-sidr9-1@300ft``; of others the item id."""
    if not np.isfinite(length_m):
        return item_id
    feet = abs(step_m - 0.3048) < 1e-6
    return f"{item_id}@{length_m / 0.3048:.0f}ft" if feet else f"{item_id}@{length_m:.0f}m"


def _pmf(amount: NDArray[np.int64], weight: Floats) -> Floats:
    out = np.zeros(int(amount.max()) + 1)
    np.add.at(out, amount, weight)
    return out / out.sum()


def coil_terms(settings: Settings, step: float, most: int, service: float, lead_days: float) -> coils.Terms:
    """What counts in the choice of coil lengths, from the practice values."""
    from scipy.special import ndtri

    base = settings.base
    return coils.Terms(
        most, base("length_offcut_keep") / step, base("share_offcut_worth"), base("length_special_order") / step,
        base("rate_holding"), (lead_days + base("days_review")) / DAYS_A_YEAR, base("days_cover") / DAYS_A_YEAR,
        float(ndtri(service)),
    )  # fmt: skip


@dataclass(frozen=True)
class CoilItem:
    """Coiled pipe at one branch: what the wells need, and the lengths chosen."""

    branch_id: str
    item_id: str
    step_m: float
    need: NDArray[np.int64]
    jobs: Floats
    available: tuple[int, ...]
    mix: coils.Mix
    every: coils.Mix


def lines(
    jobs: Jobs, served: pd.DataFrame, goods: Catalogue, items: pd.DataFrame | None, settings: Settings, service: float,
    most_lengths: int,
) -> tuple[list[Line], list[CoilItem]]:  # fmt: skip
    """Everything that has demand at each branch; coiled pipe by the lengths that are worth stocking."""
    rates = jobs.rates.merge(served, on="place")
    rates = rates.assign(pieces=rates["pieces_year"] * rates["share"])
    yearly = rates.groupby(["branch_id", "item_id"], sort=True)["pieces"].sum()
    own = {name: _by_branch(table, served, column) for name, table, column in
           (("amount", jobs.amounts, "amount"), ("need", jobs.needs, "need"))}  # fmt: skip
    whole = {name: _anywhere(table, column) for name, table, column in
             (("amount", jobs.amounts, "amount"), ("need", jobs.needs, "need"))}  # fmt: skip
    made = zip(goods.options["option_id"], goods.coils_m, strict=True)
    coil_m = {i: [c for c in row if np.isfinite(c)] for i, row in made}
    out: list[Line] = []
    coiled: list[CoilItem] = []
    names = [yearly.index.get_level_values(n).astype(str) for n in (0, 1)]
    for branch, item, pieces in zip(*names, yearly, strict=True):
        found = own["amount"].get((branch, item), whole["amount"].get(item))
        sizes = _pmf(*found) if found is not None else np.array([0.0, 1.0])
        rate = float(pieces) / float(sizes @ np.arange(len(sizes)))
        if not rate > 1e-4:
            continue
        wanted = own["need"].get((branch, item), whole["need"].get(item)) if item in jobs.steps else None
        if wanted is None:
            out.append(Line(branch, item, item, np.nan, rate, sizes, files.terms(items, branch, item, np.nan)))
            continue
        step = jobs.steps[item]
        need, weight = wanted
        available = tuple(int(np.floor(c / step + 1e-6)) for c in sorted(coil_m[item]))
        terms = coil_terms(settings, step, most_lengths, service, settings.base("days_lead_time"))
        share = rate * weight / weight.sum()
        mix, every = coils.choose(available, need, share, terms)
        coiled.append(CoilItem(branch, item, step, need, share, available, mix, every))
        out += _coil_lines(coiled[-1], items)
    return out, coiled


def _by_branch(
    table: pd.DataFrame, served: pd.DataFrame, column: str
) -> dict[tuple[str, str], tuple[NDArray[np.int64], Floats]]:
    """Values and their weights of each branch and item."""
    merged = table.merge(served, on="place")
    merged = merged.assign(weight=merged["weight_milli"] * merged["share"])
    merged = merged[merged["weight"] > 0]
    summed = merged.groupby(["branch_id", "item_id", column], sort=True)["weight"].sum().reset_index()
    return {
        (str(b), str(i)): (part[column].to_numpy(np.int64), part["weight"].to_numpy(float))
        for (b, i), part in summed.groupby(["branch_id", "item_id"], sort=False)
    }


def _anywhere(table: pd.DataFrame, column: str) -> dict[str, tuple[NDArray[np.int64], Floats]]:
    """Values and their weights of each item over the whole run."""
    table = table[table["weight_milli"] > 0]
    summed = table.groupby(["item_id", column], sort=True)["weight_milli"].sum().reset_index()
    return {
        str(i): (part[column].to_numpy(np.int64), part["weight_milli"].to_numpy(float))
        for i, part in summed.groupby("item_id", sort=False)
    }


def _coil_lines(coil: CoilItem, items: pd.DataFrame | None) -> list[Line]:
    """One line a stocked length: the coil that a job takes, or the coils joined where none is long enough."""
    longest = coil.available[-1]
    served = (coil.need <= coil.mix.lengths[-1]) | (coil.need > longest)
    whole, last = coils.coil_for(coil.need, coil.mix.lengths)
    out = []
    for n, length in enumerate(coil.mix.lengths):
        pieces = (last == n).astype(np.int64) + (whole if n == len(coil.mix.lengths) - 1 else 0)
        takes = served & (pieces > 0)
        rate = float(coil.jobs[takes].sum())
        if rate > 1e-4:
            metres = length * coil.step_m
            name = stock_id(coil.item_id, metres, coil.step_m)
            out.append(Line(coil.branch_id, name, coil.item_id, metres, rate, _pmf(pieces[takes], coil.jobs[takes]),
                            files.terms(items, coil.branch_id, coil.item_id, metres)))  # fmt: skip
    return out


def rule(line: Line, settings: Settings, service: float, price: float) -> dict[str, Any]:
    """Reorder point, order-up-to level and what they are worth, for one line of the plan.

    Protected is the lead time and the time between two looks. Smooth demand takes the square-root formula, other
    demand the exact quantile of the compound sum; both are then played through.
    """
    base, terms = settings.base, line.terms
    lead = float(terms.get("lead_time_days", base("days_lead_time")))
    lead_sd = float(terms.get("lead_time_sd_days", lead * base("share_lead_time_sd")))
    review = float(base("days_review"))
    lot = max(float(terms.get("pack", 1.0)), 1.0)
    least = float(terms.get("minimum_order", 0.0))
    service = float(terms.get("service", service))
    m1, m2 = line.moments
    daily, days = line.jobs_year / DAYS_A_YEAR, lead + review
    mean, variance = (float(x) for x in compound.moments(daily, days, lead_sd, m1, m2))
    interval, variation = (float(x) for x in rules.period_moments(line.jobs_year * _PERIOD_YEARS, m1, m2))
    kind = str(rules.demand_class(interval, variation, base("interval_frequent"), base("variation_steady")))
    step = compound.grid_step(mean, variance, len(line.sizes))
    chances = compound.distribution(daily * days, compound.coarse(line.sizes, step), (lead_sd / days) ** 2)
    if kind == "smooth":
        safety = float(rules.safety_stock(service, np.sqrt(daily * m2), days, daily * m1, lead_sd))
        reorder = float(np.ceil(mean + safety - 1e-9))
    else:
        reorder = float(compound.quantile(chances, service) * step)
        safety = reorder - mean
    yearly = line.jobs_year * m1
    cover = base("days_cover") / DAYS_A_YEAR
    amount = rules.order_quantity(yearly, price, base("cost_order_line"), base("rate_holding"), cover)
    quantity = float(rules.in_lots(max(float(np.rint(amount)), 1.0), lot, least))
    upto = reorder + quantity
    years = _SIMULATED_YEARS + _WARM_YEARS
    horizon = int(years * DAYS_A_YEAR)
    name = f"{line.branch_id}\x1f{line.stock_id}"
    arrivals, sizes = simulate.jobs(name, settings.seed, daily, line.sizes, horizon)
    played = simulate.play(
        arrivals, sizes, horizon, int(review), reorder, upto, lot,
        simulate.lead_times(name, settings.seed, lead, lead_sd, horizon // int(review) + 1),
        int(_WARM_YEARS * DAYS_A_YEAR),
    )  # fmt: skip
    return {
        "branch_id": line.branch_id, "stock_id": line.stock_id, "item_id": line.item_id,
        "length_piece_m": line.length_m,
        "demand_class_code": kind, "stock_method_code": "formula" if kind == "smooth" else "compound",
        "jobs_yearly": line.jobs_year, "pieces_yearly": yearly, "pieces_job": m1, "interval_demand_months": interval,
        "variation_demand": variation, "lead_time_days": lead, "lead_time_sd_days": lead_sd, "review_days": review,
        "service_fraction": service, "pieces_protected": mean, "safety_stock_pieces": safety,
        "reorder_point_pieces": reorder, "order_up_to_pieces": upto, "order_quantity_pieces": quantity,
        "lot_pieces": lot, "order_least_pieces": least,
        "service_cycle_fraction": float(np.clip(chances[: int(reorder // step) + 1].sum(), 0.0, 1.0)),
        "fill_rate_fraction": played.fill, "stock_average_pieces": played.stock,
    }  # fmt: skip


def plan(
    wanted: list[Line], prices: dict[str, float], settings: Settings, service: float
) -> pd.DataFrame:
    """Rules of every line, which lines are better held centrally or bought for the job, and the central store's own.

    Slow lines of several branches are pooled: the compound sum of all their jobs gives the stock of one central
    store. They are held there where what that stock saves is worth more than bringing the goods to the jobs.
    """
    base = settings.base
    rows = pd.DataFrame([rule(line, settings, service, prices.get(line.stock_id, np.nan)) for line in wanted])
    rows["hold_code"], rows["stock_apart_pieces"] = "branch", np.nan
    central: list[dict[str, Any]] = []
    at_line = {(line.branch_id, line.stock_id): line for line in wanted}
    pinned = {k for k, line in at_line.items() if str(line.terms.get("hold", "")).lower() == "branch"}
    slow = rows["jobs_yearly"].to_numpy(float) < base("jobs_held_branch")
    slow &= ~np.array([(b, s) in pinned for b, s in zip(rows["branch_id"], rows["stock_id"], strict=True)])
    for name, group in rows[slow].groupby("stock_id", sort=True):
        parts = [at_line[(b, str(name))] for b in group["branch_id"]]
        jobs = sum(p.jobs_year for p in parts)
        if not jobs >= base("jobs_stocked"):
            rows.loc[group.index, "hold_code"] = "to_order"
            continue
        if len(parts) < 2:
            continue
        mixed = np.zeros(max(len(p.sizes) for p in parts))
        for p in parts:
            mixed[: len(p.sizes)] += p.sizes * p.jobs_year / jobs
        terms = {k: v for k, v in parts[0].terms.items() if k not in ("on_hand", "on_order", "branch_id")}
        pooled = Line(words.say("stock.central"), str(name), parts[0].item_id, parts[0].length_m, jobs, mixed, terms)
        price = prices.get(str(name), np.nan)
        at_centre = rule(pooled, settings, service, price)
        apart = float(group["stock_average_pieces"].sum())
        saved = apart - at_centre["stock_average_pieces"]
        brought = jobs * base("cost_transfer")
        worth = saved * base("rate_holding") * price - brought if np.isfinite(price) else saved - 1.0
        if worth > 0:
            rows.loc[group.index, "hold_code"] = "central"
            central.append(at_centre | {"hold_code": "branch", "stock_apart_pieces": apart})
    return pd.concat([rows, pd.DataFrame(central)], ignore_index=True) if central else rows


def orders(rows: pd.DataFrame, wanted: list[Line]) -> pd.DataFrame:
    """What to order today: up to the level in whole lots, where stock here and coming is no more than the point."""
    terms = {(line.branch_id, line.stock_id): line.terms for line in wanted}
    told = [terms.get((b, s), {}) for b, s in zip(rows["branch_id"], rows["stock_id"], strict=True)]
    known = np.array(["on_hand" in t for t in told])
    hand = np.array([float(t.get("on_hand", 0.0)) for t in told])
    coming = np.array([float(t.get("on_order", 0.0)) for t in told])
    kept = rows["hold_code"].eq("branch").to_numpy()
    position = hand + coming
    short = np.where(kept & (position <= rows["reorder_point_pieces"]), rows["order_up_to_pieces"] - position, 0.0)
    return rows.assign(
        on_hand_pieces=np.where(known, hand, np.nan), on_order_pieces=np.where(known, coming, np.nan),
        on_hand_is_given=known,
        order_pieces=rules.in_lots(short, rows["lot_pieces"], rows["order_least_pieces"]),
    )
