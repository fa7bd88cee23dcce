"""Stock plan of a finished run: looks across wells; reads the run, writes its tables into the same folder."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline import io, words
from pipeline.errors import UsageError
from pipeline.materials.goods import Catalogue, catalogue
from pipeline.settings import Settings, of_run
from pipeline.stock import cutting, files, jobs, planning
from pipeline.units import convert

TABLES = ("stock_plan", "coil_plan", "cutting_plan", "cutting_patterns")
MOST_CUTTING_PLANS = 6
_MOST_JOBS_CUT = 1000


@dataclass(frozen=True)
class Asked:
    """What the planner asks: files of branches and items, service level, coil lengths at most (0: as declared)."""

    branches: Path | None = None
    items: Path | None = None
    service: float = 0.95
    coils: int = 0


@dataclass(frozen=True)
class Plan:
    """Tables of the plan and what the text needs beside them."""

    stock: pd.DataFrame
    coils: pd.DataFrame
    cutting: pd.DataFrame
    patterns: pd.DataFrame
    unserved: list[str]
    basis: str
    year: int | None
    service: float


def plan_stock(
    run: Path, asked: Asked, settings: Settings, tell: Callable[[str], None] = lambda line: None
) -> Plan:
    """Plan the stock of the branches of a finished run and write it into the run folder.

    Raises
    ------
    UsageError
        When the folder is no finished run, or a file of the user has faults.
    """
    settings, manifest = of_run(run, settings)
    if not 0.5 <= asked.service <= 0.9999:
        raise UsageError(f"--service {asked.service}: write a share between 0.5 and 0.9999, such as 0.95.")
    io.refuse_other_columns(("selection", "bill_lines"), run)
    goods = catalogue(settings)
    found = jobs.of_run(run, settings, goods, str(manifest.get("as_of") or ""))
    places = sorted(set(found.amounts["place"]))
    branches = files.read(asked.branches, "branches") if asked.branches else None
    served, unserved = files.assignment(branches, places, asked.branches.name if asked.branches else "")
    items = _items(asked.items, goods, set(served["branch_id"])) if asked.items else None
    most = asked.coils or int(settings.base("coils_stocked"))
    wanted, coiled = planning.lines(found, served, goods, items, settings, asked.service, most)
    if not wanted:
        raise UsageError(f"{run}: no branch has a job a year; see the branch file.")
    prices, masses, volumes = _goods_of(wanted, goods, settings)
    stock = planning.orders(planning.plan(wanted, prices, settings, asked.service), wanted)
    stock = _finished(stock, wanted, goods, (prices, masses, volumes), found.basis, settings)
    tell(f"stock    {len(stock):>12,} rows")
    cuts, patterns = _cutting(coiled, settings)
    tell(f"cutting  {len(cuts):>12,} rows")
    done = Plan(stock, _coil_rows(coiled), cuts, patterns, unserved, found.basis, found.year, asked.service)
    for name, frame in zip(TABLES, (done.stock, done.coils, done.cutting, done.patterns), strict=True):
        io.write_table(name, frame, run)
    return done


def _items(path: Path, goods: Catalogue, branches: set[str]) -> pd.DataFrame:
    """Items file with lengths, masses and volumes in SI."""
    import difflib

    frame = files.read(path, "items")
    known = set(goods.items["item_id"])
    faults = []
    for number, item, branch in zip(frame["row_number"], frame["item_id"], frame["branch_id"], strict=True):
        if item not in known:
            near = difflib.get_close_matches(item, known, 2)
            hint = f"; near it: {', '.join(near)}" if near else ""
            faults.append(f"row {number}, column 'item_id': '{item}' is no item{hint}")
        if isinstance(branch, str) and branch not in branches | {words.say("stock.central")}:
            faults.append(f"row {number}, column 'branch_id': '{branch}' is no branch")
    for column in ("on_hand", "on_order") if len(branches) > 1 else ():
        bare = frame["row_number"][frame[column].notna() & frame["branch_id"].isna()]
        told = "the row names no branch, so the stock would stand at each"
        faults += [f"row {n}, column '{column}': {told}" for n in bare]
    keys = frame[["item_id", "branch_id", "length_piece_ft", "length_piece_m"]].astype(str)
    twice = frame["row_number"][keys.duplicated()]
    faults += [f"row {n}: the same item, branch and length stands above" for n in twice]
    currencies = sorted(frame["currency"].dropna().unique())
    if len(currencies) > 1:
        faults.append(f"column 'currency': more than one: {', '.join(currencies)}")
    if faults:
        raise UsageError(f"{path.name}: {'; '.join(faults[:12])}. Correct the file.")
    for si, us, unit, unit_us in (("length_piece_m", "length_piece_ft", "m", "ft"), ("mass_kg", "mass_lb", "kg", "lb"),
                                  ("volume_m3", "volume_ft3", "m**3", "ft**3")):  # fmt: skip
        frame[si] = frame[si].fillna(pd.Series(convert(frame[us].to_numpy(float), unit_us, unit)))
    return frame


def _goods_of(
    wanted: list[planning.Line], goods: Catalogue, settings: Settings
) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Price, mass and room of a piece, by what is stocked; the items file of the user wins."""
    about: dict[str, dict[str, float]] = goods.items.set_index("item_id")[["mass_kg", "price"]].to_dict("index")  # type: ignore[assignment]
    place = {item: n for n, item in enumerate(goods.options["option_id"])}
    outside = pd.to_numeric(goods.options["diameter_outside_mm"]).to_numpy(float) / 1000.0
    prices: dict[str, float] = {}
    masses: dict[str, float] = {}
    volumes: dict[str, float] = {}
    for line in wanted:
        option = place.get(line.item_id)
        told = about.get(line.item_id, {})
        length = 1.0
        if option is not None:
            length = line.length_m if np.isfinite(line.length_m) else float(goods.stick_m[option])
        mass, price = (float(told.get(name, np.nan)) * length for name in ("mass_kg", "price"))
        if option is None:
            volume = mass / settings.base("density_goods_packed")
        else:
            share = "share_room_coils" if np.isfinite(line.length_m) else "share_room_sticks"
            volume = outside[option] ** 2 * length / settings.base(share)
        prices[line.stock_id] = float(line.terms.get("price", prices.get(line.stock_id, price)))
        masses[line.stock_id] = float(line.terms.get("mass_kg", mass))
        volumes[line.stock_id] = float(line.terms.get("volume_m3", volume))
    return prices, masses, volumes


def _finished(
    stock: pd.DataFrame, wanted: list[planning.Line], goods: Catalogue,
    of_piece: tuple[dict[str, float], dict[str, float], dict[str, float]], basis: str, settings: Settings,
) -> pd.DataFrame:  # fmt: skip
    """The plan with money, mass and truckloads of what is ordered; what is kept elsewhere has no level here."""
    prices, masses, volumes = (stock["stock_id"].map(table) for table in of_piece)
    own = {(line.branch_id, line.stock_id): line.terms.get("sku") for line in wanted}
    currency = next((str(line.terms["currency"]) for line in wanted if "currency" in line.terms), goods.currency)
    sticks = dict(zip(goods.options["option_id"], goods.stick_m, strict=True))
    out = stock.assign(
        sku=pd.Series([own.get(key) for key in zip(stock["branch_id"], stock["stock_id"], strict=True)], dtype=object),
        jobs_from_code=basis, length_piece_m=stock["length_piece_m"].fillna(stock["item_id"].map(sticks)),
        price_each=prices.round(4), mass_kg=(stock["order_pieces"] * masses).round(3),
        cost=(stock["order_pieces"] * prices).round(2), currency=currency,
        truckloads_mass=stock["order_pieces"] * masses / settings.base("mass_truck"),
        truckloads_volume=stock["order_pieces"] * volumes / settings.base("volume_truck"),
    )  # fmt: skip
    elsewhere = out["hold_code"].ne("branch")
    out.loc[elsewhere, ["reorder_point_pieces", "order_up_to_pieces", "order_quantity_pieces"]] = 0.0
    missing = ["safety_stock_pieces", "service_cycle_fraction", "fill_rate_fraction", "stock_average_pieces"]
    out.loc[elsewhere, missing] = np.nan
    return out


def _coil_rows(coiled: list[planning.CoilItem]) -> pd.DataFrame:
    """Rows of ``coil_plan``: every length made, and whether it is to be stocked."""
    rows = []
    for coil in coiled:
        whole, last = planning.coils.coil_for(coil.need, coil.mix.lengths)
        stocked = np.asarray(coil.mix.lengths)
        served = (coil.need <= stocked[-1]) | (coil.need > coil.available[-1])
        off = np.where(served, whole * stocked[-1] + stocked[last] - coil.need, 0)
        for length in coil.available:
            at = coil.mix.lengths.index(length) if length in coil.mix.lengths else -1
            takes = served & (last == at) if at >= 0 else np.zeros(len(coil.need), bool)
            joined = float((whole * coil.jobs)[served].sum()) if at == len(stocked) - 1 else 0.0
            rows.append({
                "branch_id": coil.branch_id, "item_id": coil.item_id, "length_piece_m": length * coil.step_m,
                "is_stocked": at >= 0, "jobs_fraction": min(float(coil.jobs[takes].sum() / coil.jobs.sum()), 1.0),
                "coils_yearly": float(coil.jobs[takes].sum()) + joined,
                "length_trim_yearly_m": float((off * coil.jobs)[takes].sum()) * coil.step_m,
                "length_trim_all_lengths_m": coil.every.trim * coil.step_m,
                "jobs_special_yearly": coil.mix.special_jobs,
            })  # fmt: skip
    names = [c.name for c in io.schema.arrow_schema("coil_plan")]
    return pd.DataFrame(rows, columns=names)


def _whole_jobs(jobs_yearly: np.ndarray, most: int) -> np.ndarray:
    """Whole jobs of each class that add up to the rounded total: largest remainders."""
    total = min(int(np.rint(jobs_yearly.sum())), most)
    wanted = jobs_yearly / jobs_yearly.sum() * total
    out = np.floor(wanted).astype(np.int64)
    more = np.argsort(-(wanted - out), kind="stable")[: total - int(out.sum())]
    out[more] += 1
    return out


def _cutting(coiled: list[planning.CoilItem], settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Cutting plans of the items that cut most pipe: a year of whole jobs at each branch."""
    base = settings.base
    busy = [c for c in coiled if c.jobs.sum() >= base("jobs_cutting")]
    busy = sorted(busy, key=lambda c: (-float(c.jobs @ c.need) * c.step_m, c.branch_id, c.item_id))[:MOST_CUTTING_PLANS]
    rows, patterns = [], []
    for coil in busy:
        fits = coil.need <= coil.available[-1]
        count = _whole_jobs(np.where(fits, coil.jobs, 0.0), _MOST_JOBS_CUT)
        need, count = coil.need[count > 0], count[count > 0]
        keep, worth = int(np.ceil(base("length_offcut_keep") / coil.step_m - 1e-6)), base("share_offcut_worth")
        longest = coil.available[-1]
        plan = cutting.plan(need, count, np.asarray(coil.available), keep, worth)
        one = cutting.one_coil_each(need, count, np.asarray((*coil.mix.lengths, longest)), keep, worth)
        rows.append({
            "branch_id": coil.branch_id, "item_id": coil.item_id, "jobs_planned_count": int(count.sum()),
            "length_needed_m": float(need @ count) * coil.step_m, "length_one_coil_m": one[0] * coil.step_m,
            "length_first_fit_m": cutting.first_fit_decreasing(need, count, longest, keep, worth)[0] * coil.step_m,
            "length_as_come_m": cutting.as_they_come(need, count, longest, keep, worth, settings.seed)[0] * coil.step_m,
            "length_plan_m": plan.bought * coil.step_m, "length_offcut_kept_m": plan.kept * coil.step_m,
            "length_bound_m": plan.bound * coil.step_m, "gap_fraction": plan.gap,
        })  # fmt: skip
        shown = coil.step_m if coil.step_m < 0.3 else 1.0
        for n, (cuts, stock, times) in enumerate(zip(plan.patterns, plan.stock, plan.times, strict=True), start=1):
            text = "|".join(f"{length * shown:g}" for length in np.repeat(need, cuts)[::-1])
            patterns.append({
                "branch_id": coil.branch_id, "item_id": coil.item_id, "pattern_number": n,
                "length_piece_m": int(stock) * coil.step_m, "times_count": int(times), "cuts_ft_or_m": text,
                "length_offcut_m": float(stock - cuts @ need) * coil.step_m,
            })  # fmt: skip
    return (pd.DataFrame(rows, columns=[c.name for c in io.schema.arrow_schema("cutting_plan")]),
            pd.DataFrame(patterns, columns=[c.name for c in io.schema.arrow_schema("cutting_patterns")]))  # fmt: skip


def as_json(plan: Plan) -> str:
    """The plan for machines: summary, orders, pooled items, coil lengths, cutting plans."""
    from pipeline.stock.text import summary

    return json.dumps(summary(plan), indent=1, ensure_ascii=False, allow_nan=False)
