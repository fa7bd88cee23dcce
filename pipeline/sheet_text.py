"""The calculation sheet of one well as plain text: what, why, why not, and every number behind it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from pipeline import schema, words
from pipeline.export.display import in_words, shown, unit_by_row
from pipeline.units import convert

Content = dict[str, list[dict[str, Any]]]
SHOWN_DESIGN = (
    "depth_completed_m", "depth_static_m", "flow_duty_m3_per_s", "specific_capacity_m2_per_s", "depth_pumping_m",
    "depth_pump_m", "length_drop_pipe_m", "head_before_friction_m", "head_shutoff_m", "temperature_water_degc",
    "diameter_casing_inside_m", "mass_pump_kg",
)  # fmt: skip


def _figures(value: float, decimals: int) -> str:
    return f"{value:,.{decimals}f}" if math.isfinite(value) else "-"


def amount(name: str, value: float | None, units: str) -> str:
    """A value of a named column with its unit in the reader's units; a dash where missing."""
    how = shown(name, units)
    if value is None:
        return "-"
    if how is None:
        return _figures(value, 2)
    there = float(convert(value, how.unit, how.unit_shown))
    return f"{_figures(there, how.decimals)} {how.label}"


def _by_unit(value: float | None, ucum: str, units: str) -> str:
    """A value beside its UCUM code in the reader's units."""
    if value is None:
        return "-"
    frame = unit_by_row(pd.DataFrame({"need": [value], "unit": [ucum]}), units)
    number, unit = float(frame["need"].iloc[0]), str(frame["unit"].iloc[0])
    digits = 0 if abs(number) >= 100 else 2 if abs(number) >= 1 else 3
    return f"{_figures(number, digits)} {'' if unit in ('1', '[pH]') else unit}".strip()


def _rows(lines: Sequence[tuple[str, ...]]) -> list[str]:
    """Columns set side by side."""
    if not lines:
        return []
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    return ["  " + "  ".join(t.ljust(w) for t, w in zip(line, widths, strict=True)).rstrip() for line in lines]


def _option(option_id: str | None) -> str:
    """An option in the words of the trade."""
    row = next((r for r in schema.rows("options") if r["option_id"] == option_id), None)
    if row is None:
        return "-"
    material = next(m["label"] for m in schema.rows("materials") if m["material_id"] == row["material_id"])
    joint = schema.codes("joint")[row["joint_code"]]
    return f"{row['nominal_size']} {material}, {row['class_label']} ({row['standard']}), {joint}"


def page(content: Content, units: str) -> str:
    """The whole sheet as text.

    Parameters
    ----------
    content : dict
        From sheet.of_run or sheet.of_values.
    units : str
        us or metric.
    """
    well, point, choice = content["wells"][0], content["design"][0], content["selection"][0]
    out = [words.say("explain.title", well=well["well_id"], source=well["source_id"]), ""]
    out += _answer(choice, units)
    out += _why_not(content, units)
    out += _design(point, units)
    out += _calculation(content, point, choice, units)
    out += _checks(content, choice, units)
    out += _flags(content, units)
    out += _bill(content, units)
    out += ["", words.say("explain.cautions"), *(f"  - {line}" for line in words.cautions())]
    return "\n".join(out)


def _answer(choice: dict[str, Any], units: str) -> list[str]:
    outcome = schema.codes("outcome")[choice["outcome_code"]]
    out = [words.say("explain.outcome", outcome=outcome, grade=choice["grade_code"],
                     about=schema.codes("grade")[choice["grade_code"]])]  # fmt: skip
    if choice["option_id"] is None:
        return out
    out.append(words.say("explain.take", option=_option(choice["option_id"]),
                         length=amount("length_drop_pipe_m", choice["length_drop_pipe_m"], units)))  # fmt: skip
    governs = next(r["title"] for r in schema.rows("checks") if r["check_code"] == choice["governs_check_code"])
    out.append(words.say("explain.governs", check=governs.lower(), share=f"{choice['utilisation_max_fraction']:.0%}"))
    if choice["choice_share_fraction"] is not None:
        out.append(words.say("explain.firm", share=f"{choice['size_share_fraction']:.0%}",
                             family=f"{choice['family_share_fraction']:.0%}"))  # fmt: skip
    out.append(words.say("explain.install", method=schema.codes("install_method")[choice["install_method_code"]],
                         lowered=amount("mass_lowered_kg", choice["mass_lowered_kg"], units),
                         pulled=amount("load_pulling_n", choice["load_pulling_n"], units)))  # fmt: skip
    if choice["cost_first"] is not None:
        out.append(words.say("explain.cost", first=f"{choice['cost_first']:,.0f}",
                             present=f"{choice['cost_present']:,.0f}", currency=choice["currency"]))  # fmt: skip
    else:
        out.append(words.say("explain.no_price"))
    others = [_option(choice[n]) for n in ("alternate_1_option_id", "alternate_2_option_id") if choice[n]]
    out += [words.say("explain.alternate", option=text) for text in others]
    return out


def _why_not(content: Content, units: str) -> list[str]:
    out = ["", words.say("explain.why_not")]
    titles = {row["check_code"]: row["title"].lower() for row in schema.rows("checks")}
    for row in content["not_chosen"]:
        family = schema.codes("family")[row["family_code"]]
        if row["reason_code"] == "limit" and row["check_code"]:
            out.append("  " + words.say(
                "explain.limit", family=family, option=_option(row["option_id"]), check=titles[row["check_code"]],
                need=_by_unit(row["need"], row["unit"], units), have=_by_unit(row["have"], row["unit"], units),
            ))  # fmt: skip
        elif row["reason_code"] == "not_on_market":
            out.append("  " + words.say("explain.absent", family=family))
        else:
            out.append("  " + words.say("explain.dearer", family=family, option=_option(row["option_id"]),
                                        extra=f"{row['cost_extra'] or 0:,.0f}",
                                        why=words.reason(row["reason_code"])))  # fmt: skip
    return out


def _design(point: dict[str, Any], units: str) -> list[str]:
    lines = [("", words.say("explain.base"), words.say("explain.low"), words.say("explain.high"),
              words.say("explain.known"))]  # fmt: skip
    for name in SHOWN_DESIGN:
        basis = point[f"{schema.stem(name)}_basis_code"]
        lines.append((words.label(name), amount(name, point[name], units), amount(name, point[f"{name}_low"], units),
                      amount(name, point[f"{name}_high"], units),
                      schema.codes("basis").get(basis or "", "-")))  # fmt: skip
    return ["", words.say("explain.design"), *_rows(lines)]


def _calculation(content: Content, point: dict[str, Any], choice: dict[str, Any], units: str) -> list[str]:
    """Formulas of the chosen option with their numbers."""
    chosen = next((o for o in content["options"] if o["option_id"] == choice["option_id"]), None)
    if chosen is None:
        return []
    quantity = chosen["quantities"]
    row = next(r for r in schema.rows("options") if r["option_id"] == choice["option_id"])
    checks = {c["check"]: c for c in chosen["checks"]}
    gamma = checks["pressure_running"]["need"] / quantity["total"]
    lines = []

    def line(message: str, result: str, **values: str) -> None:
        lines.append((words.say(f"explain.formula_{message}", **values), "= " + result))

    length = amount("length_drop_pipe_m", choice["length_drop_pipe_m"], units)
    told = point["length_drop_pipe_basis_code"] == "recorded"
    line("length_recorded" if told else "length", length, pump=amount("depth_pump_m", point["depth_pump_m"], units),
         leaves=amount("depth_discharge_m", point["depth_discharge_m"], units))  # fmt: skip
    line("velocity", amount("velocity_m_per_s", quantity["velocity"], units),
         flow=amount("flow_duty_m3_per_s", point["flow_duty_m3_per_s"], units),
         bore=amount("x_mm", float(row["diameter_inside_mm"]), units))  # fmt: skip
    line("friction", amount("head_friction_m", quantity["friction"], units), length=length)
    line("total_given" if point["head_is_given"] else "total", amount("head_total_dynamic_m", quantity["total"], units),
         head=amount("head_before_friction_m", point["head_before_friction_m"], units))  # fmt: skip
    line("running", amount("pressure_running_pa", checks["pressure_running"]["need"], units),
         gamma=f"{gamma:,.0f} N/m³")  # fmt: skip
    line("surge", amount("pressure_surge_pa", quantity["surge"], units))
    line("dead_head", amount("pressure_dead_head_pa", quantity["dead_head"], units))
    line("hanging", amount("load_hanging_n", quantity["running"], units))
    line("pulling", amount("load_pulling_n", quantity["pulling"], units))
    return ["", words.say("explain.calculation", option=_option(choice["option_id"])), *_rows(lines)]


def _checks(content: Content, choice: dict[str, Any], units: str) -> list[str]:
    chosen = next((o for o in content["options"] if o["option_id"] == choice["option_id"]), None)
    if chosen is None:
        return []
    titles = {row["check_code"]: (row["title"], row["reference_id"]) for row in schema.rows("checks")}
    lines = [tuple(words.say(f"explain.{n}") for n in ("check", "need", "have", "share", "source"))]
    for check in chosen["checks"]:
        title, reference = titles[check["check"]]
        share = words.say("explain.not_judged") if check["passes"] is None else f"{check['utilisation'] or 0:.0%}"
        pair = [amount("diameter_m", check[side], units) if check["check"] == "fit" else
                _by_unit(check[side], check["unit"], units) for side in ("need", "have")]  # fmt: skip
        lines.append((title, *pair, share, reference))
    return ["", words.say("explain.checks"), *_rows(lines)]


def _flags(content: Content, units: str) -> list[str]:
    if not content["risks"]:
        return []
    about = {row["code"]: row for row in schema.rows("rules")}
    out = ["", words.say("explain.flags")]
    order = {"stop": 0, "caution": 1, "note": 2}
    for row in sorted(content["risks"], key=lambda r: (order[r["severity_code"]], r["code"])):
        rule = about[row["code"]]
        seen = f" ({_by_unit(row['value'], row['unit'] or '1', units)})" if row["value"] is not None else ""
        out.append(f"  {row['severity_code'].upper():<8}{row['code']}  {rule['title']}{seen}: {rule['action']}")
    return out


def _bill(content: Content, units: str) -> list[str]:
    from pipeline.materials import catalogue
    from pipeline.settings import Settings

    if not content["bill_lines"]:
        return []
    labels = dict(zip(*(catalogue(Settings()).items[c] for c in ("item_id", "label")), strict=True))
    lines = []
    for row in content["bill_lines"]:
        quantity, unit = row["quantity"], row["sale_unit"]
        if unit == "m" and units == "us":
            quantity, unit = float(convert(quantity, "m", "ft")), "ft"
        cost = "-" if row["cost"] is None else f"{row['cost']:,.2f} {row['currency']}"
        lines.append((_figures(quantity, 0 if quantity == int(quantity) else 1), unit,
                      str(labels.get(row["item_id"], row["item_id"])), cost))  # fmt: skip
    return ["", words.say("explain.bill"), *_rows(lines)]


__all__ = ["amount", "in_words", "page"]
