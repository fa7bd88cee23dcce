"""Frozen text of invented wells: choice, alternates, why not, flags and bill, compact and in trade units."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pandas as pd
from wells import sized

HERE = Path(__file__).resolve().parent
EXPECTED = HERE / "expected.txt"
FT, PSI, LB = 0.3048, 6894.757293168, 0.45359237


def _wells() -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    with (HERE / "wells.toml").open("rb") as file:
        wells = tomllib.load(file)["well"]
    signed = [well for well in wells if "unsigned" not in well]
    heads = [{key: well.pop(key) for key in ("name", "shows")} for well in signed]
    return heads, signed


def unsigned() -> list[str]:
    """Wells that nobody would sign yet, with the reason."""
    with (HERE / "wells.toml").open("rb") as file:
        return [f"{w['name']}: {w['unsigned']}" for w in tomllib.load(file)["well"] if "unsigned" in w]


def _numbers(row: pd.Series) -> str:
    return (
        f"{row['length_drop_pipe_m'] / FT:.0f} ft, {row['head_total_dynamic_m'] / FT:.0f} ft of head, "
        f"{row['velocity_m_per_s'] / FT:.1f} ft/s, {row['pressure_running_pa'] / PSI:.0f} psi running, "
        f"{row['mass_lowered_kg'] / LB:.0f} lb lowered, {row['install_method_code']}"
    )


def _reason(other: pd.Series) -> str:
    """One family not chosen: its nearest pipe and the limit that it passes, or what else stands against it."""
    pipe = f" ({other['option_id']})" if isinstance(other["option_id"], str) else ""
    share = "" if pd.isna(other["utilisation_fraction"]) else f" {other['utilisation_fraction']:.2f}"
    check = f" {other['check_code']}{share}" if isinstance(other["check_code"], str) else ""
    return f"not {other['family_code']}{pipe}: {other['reason_code']}{check}"


def text() -> str:
    """The frozen text of the signed wells, in the order of wells.toml."""
    heads, wells = _wells()
    out = sized(*wells)
    lines = []
    for place, head in enumerate(heads):
        row, ids = out["selection"].iloc[place], out["selection"]["well_id"].iloc[place]
        lines += [f"# {head['name']}: {head['shows']}", f"outcome {row['outcome_code']}, grade {row['grade_code']}"]
        if isinstance(row["option_id"], str):
            others = [row[f"alternate_{n}_option_id"] for n in (1, 2)]
            lines.append(f"take {row['option_id']}; else {', '.join(o for o in others if isinstance(o, str)) or 'none'}")
            lines.append(_numbers(row))
        why = out["not_chosen"][out["not_chosen"]["well_id"] == ids].sort_values("family_code")
        for _, other in why.iterrows():
            lines.append(_reason(other))
        flags = out["risks"][out["risks"]["well_id"] == ids].sort_values("code")
        raised = zip(flags["code"], flags["severity_code"], strict=True)
        lines.append("flags " + (", ".join(f"{code} {severity}" for code, severity in raised) or "none"))
        bill = out["bill_lines"][out["bill_lines"]["well_id"] == ids]
        pipe = bill[(bill["item_id"] == row["option_id"]) | bill["item_id"].str.startswith("coupling")]
        goods = zip(pipe["quantity"], pipe["item_id"], strict=True)
        lines.append("bill " + (", ".join(f"{count:g} {item}" for count, item in goods) or "none"))
        lines.append("")
    return "\n".join(lines)
