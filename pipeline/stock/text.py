"""The plan in words: what to order, what to hold centrally, trucks, coil lengths."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pipeline import schema, words
from pipeline.units import convert

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.stock import Plan

_SHOWN = 5
_ORDERED = ["branch_id", "stock_id", "item_id", "sku", "order_pieces", "cost", "mass_kg"]
_POOLED = ["stock_id", "item_id", "sku", "jobs_yearly", "stock_average_pieces", "stock_apart_pieces",
           "reorder_point_pieces", "order_up_to_pieces", "price_each"]  # fmt: skip


def _named(row: dict[str, Any]) -> str:
    """The user's own number or what is stocked, with the unit of goods that are counted by measure."""
    unit = {r["item_id"]: r["sale_unit"] for r in schema.rows("items")}.get(row["item_id"], "")
    name = str(row["sku"] or row["stock_id"])
    return f"{name} ({unit})" if unit in ("m", "L") else name


def _worth(row: dict[str, Any], what: str) -> float:
    return float(row[f"{what}_pieces"] * (row["price_each"] or 0.0))


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    plain = frame.astype(object).where(frame.notna(), None)
    return plain.to_dict("records")  # type: ignore[return-value]


def summary(plan: Plan) -> dict[str, Any]:
    """Figures of the plan in SI."""
    stock = plan.stock
    kept = stock[stock["hold_code"] == "branch"]
    orders = kept[kept["order_pieces"] > 0]
    pooled = kept[kept["stock_apart_pieces"].notna()]
    mass, room = float(orders["truckloads_mass"].sum()), float(orders["truckloads_volume"].sum())
    asked, filled = kept["pieces_yearly"], kept["fill_rate_fraction"]
    known = filled.notna()
    here = stock[stock["branch_id"] != words.say("stock.central")]
    return {
        "branches": int(here["branch_id"].nunique()), "items": int(here["stock_id"].nunique()),
        "rate_basis": plan.basis, "year": plan.year, "service": plan.service, "unserved_regions": plan.unserved,
        "classes": {k: int(v) for k, v in here["demand_class_code"].value_counts().sort_index().items()},
        "lines_kept": len(kept), "lines_without_stock_told": int((~kept["on_hand_is_given"].astype(bool)).sum()),
        "order": {
            "lines": len(orders), "cost": float(orders["cost"].sum()), "currency": str(stock["currency"].iloc[0]),
            "mass_kg": float(orders["mass_kg"].sum()), "truckloads_mass": mass, "truckloads_volume": room,
            "governs": "mass" if mass >= room else "room", "trucks": int(np.ceil(max(mass, room))),
        },
        "orders": _records(orders[[*_ORDERED, "on_hand_is_given"]]),
        "held_centrally": _records(pooled[_POOLED]),
        "bought_for_the_job": sorted(set(stock.loc[stock["hold_code"] == "to_order", "stock_id"])),
        "fill_rate": float((asked * filled)[known].sum() / asked[known].sum()) if known.any() else None,
        "turns_yearly": _turns(kept),
        "coils": _records(plan.coils[plan.coils["is_stocked"].astype(bool)]) if len(plan.coils) else [],
        "cutting": _records(plan.cutting),
    }  # fmt: skip


def _turns(kept: pd.DataFrame) -> float | None:
    """Yearly demand over average stock, both at price."""
    value = float((kept["stock_average_pieces"] * kept["price_each"]).sum())
    return float((kept["pieces_yearly"] * kept["price_each"]).sum()) / value if value > 0 else None


def lines(plan: Plan, units: str, settings: Settings) -> list[str]:
    """Ten to twenty lines for the planner."""
    told, say = summary(plan), words.say
    long, heavy = ("m", "kg") if units == "metric" else ("ft", "lb")

    def length(metres: float) -> str:
        return f"{convert(metres, 'm', long).item():,.0f} {long}"

    here = plan.stock[plan.stock["branch_id"] != say("stock.central")]
    pipes = here[here["length_piece_m"].notna()]
    basis = say(f"stock.basis.{plan.basis}", year=plan.year, years=settings.base("interval_pull"))
    out = [say("stock.head", branches=told["branches"], items=told["items"], basis=basis, service=told["service"],
               jobs=f"{pipes['jobs_yearly'].sum():,.0f}")]  # fmt: skip
    if plan.unserved:
        out.append(say("stock.unserved", places=len(plan.unserved), names=", ".join(plan.unserved[:3])))
    labels = schema.codes("demand_class")
    parts = ", ".join(f"{n:,} lines {labels[code]}" for code, n in told["classes"].items())
    out.append(say("stock.class", parts=parts, compound=here["stock_method_code"].eq("compound").mean()))
    order = told["order"]
    mass = convert(order["mass_kg"], "kg", heavy).item()
    out.append(say("stock.order", lines=f"{order['lines']:,}", cost=f"{order['currency']} {order['cost']:,.0f}",
                   mass=f"{mass:,.0f} {heavy}"))  # fmt: skip
    if told["lines_without_stock_told"]:
        out.append(say("stock.opening", lines=f"{told['lines_without_stock_told']:,}"))
    first = sorted(told["orders"], key=lambda r: (-(r["cost"] or 0.0), r["branch_id"], r["stock_id"]))
    out += [
        "  " + say("stock.order_line", branch=r["branch_id"], pieces=f"{r['order_pieces']:,.0f}", item=_named(r))
        for r in first[:_SHOWN]
    ]
    if len(first) > _SHOWN:
        out.append("  " + say("stock.more", lines=f"{len(first) - _SHOWN:,}"))
    pooled = told["held_centrally"]
    if pooled:
        kept, apart = (sum(_worth(r, k) for r in pooled) for k in ("stock_average", "stock_apart"))
        out.append(say("stock.pool", items=len(pooled), kept=f"{order['currency']} {kept:,.0f}", apart=f"{apart:,.0f}",
                       branches=told["branches"]))  # fmt: skip
        best = sorted(pooled, key=lambda r: (_worth(r, "stock_average") - _worth(r, "stock_apart"), r["stock_id"]))
        out += ["  " + say("stock.pool_line", item=_named(r), kept=f"{r['stock_average_pieces']:,.1f}",
                    apart=f"{r['stock_apart_pieces']:,.1f}") for r in best[:2]]  # fmt: skip
    if told["bought_for_the_job"]:
        out.append(say("stock.to_order", items=len(told["bought_for_the_job"])))
    out.append(say("stock.trucks", mass=order["truckloads_mass"], room=order["truckloads_volume"],
                   governs=say(f"stock.governs.{order['governs']}"), trucks=order["trucks"]))  # fmt: skip
    if told["fill_rate"] is not None and told["turns_yearly"] is not None:
        out.append(say("stock.fill", fill=told["fill_rate"], turns=told["turns_yearly"]))
    out += _coil_lines(plan, length)
    return [*out, say("stock.sure"), say("summary.caution")]


def _coil_lines(plan: Plan, length: Any) -> list[str]:
    out = []
    if len(plan.coils):
        stocked = plan.coils[plan.coils["is_stocked"].astype(bool)]
        by = stocked.groupby("length_piece_m")["coils_yearly"].sum()
        share = (by / by.sum()).sort_index()
        shown = ", ".join(f"{length(m)} {part:.0%}" for m, part in share.items() if part >= 0.005)
        out.append(words.say("stock.coils", lengths=shown))
        each = plan.coils.drop_duplicates(["branch_id", "item_id"])
        out.append(words.say("stock.trim", trim=length(stocked["length_trim_yearly_m"].sum()),
                             every=length(each["length_trim_all_lengths_m"].sum()),
                             special=each["jobs_special_yearly"].sum()))  # fmt: skip
    if len(plan.cutting):
        sums = plan.cutting.sum(numeric_only=True)
        out.append(words.say(
            "stock.cut", jobs=f"{sums['jobs_planned_count']:,.0f}", plan=length(sums["length_plan_m"]),
            one=length(sums["length_one_coil_m"]), come=length(sums["length_as_come_m"]),
            fit=length(sums["length_first_fit_m"]), bound=length(sums["length_bound_m"]),
            gap=plan.cutting["gap_fraction"].max(),
        ))  # fmt: skip
    return out
