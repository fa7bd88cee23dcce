"""Tables of the page of one well: record, design point, goods, calculation, checks."""

from __future__ import annotations

from typing import Any

from pipeline import schema, words
from pipeline.explain_sheet.amounts import amount, by_check, figures, option_words, sheet_number
from pipeline.settings import Settings
from pipeline.units import convert

Content = dict[str, list[dict[str, Any]]]
Section = dict[str, Any]
# columns of a well that are for the machine
NOT_TOLD = {"source_id", "well_id", "weight_inclusion_fraction", "completeness_count", "latitude_deg", "longitude_deg",
            "source_row", "unit"}  # fmt: skip


def _section(name: str, headers: list[str], rows: list[list[str]], numbers: set[int] | None = None) -> Section | None:
    if not rows:
        return None
    title = words.say(f"explain.{name}")
    table = {"caption": title, "headers": headers, "rows": rows, "numbers": numbers or set()}
    return {"id": name, "title": title, "items": [], "table": table}


def _say(*names: str) -> list[str]:
    return [words.say(f"explain.{name}") for name in names]


def in_words(field: schema.Field, value: Any, units: str) -> str:
    """One value of a declared column in words and the reader's units."""
    if field.codes and value in schema.codes(field.codes):
        return schema.codes(field.codes)[value]
    if isinstance(value, bool):
        return words.say("explain.yes" if value else "explain.no")
    if field.type == "integer":
        return f"{value:,.0f}"
    if field.name.endswith("option_id"):
        return option_words(value)
    return amount(field.name, value, units) if field.type == "number" else str(value)


def told(field: schema.Field, row: dict[str, Any], units: str) -> list[str]:
    """"Name: value" of a declared column of a row; nothing where there is nothing to tell."""
    value = row.get(field.name)
    if value is None or field.name in NOT_TOLD or field.name.endswith(("_basis_code", "_note_codes")):
        return []
    return [f"{words.label(field.name)}: {in_words(field, value, units)}"]


def record(content: Content, units: str) -> Section | None:
    """What the record says."""
    well = content["wells"][0]
    rows = []
    for column in schema.table("wells"):
        value = well.get(column.field.name)
        if value is None or column.field.name in NOT_TOLD or (column.field.name == "repaired_count" and not value):
            continue
        rows.append([words.label(column.field.name), in_words(column.field, value, units)])
    return _section("record", _say("quantity", "value"), rows)


def design(content: Content, units: str) -> Section | None:
    """What was recorded, worked out and assumed, with its band."""
    point = content["design"][0]
    names = {column.field.name for column in schema.table("design")}
    rows = []
    for column in schema.table("design"):
        name = column.field.name
        if f"{name}_low" not in names:
            continue
        known = schema.codes("basis").get(point.get(f"{schema.stem(name)}_basis_code") or "", "-")
        ends = (amount(name, point.get(n), units) for n in (name, f"{name}_low", f"{name}_high"))
        rows.append([words.label(name), *ends, known])
    return _section("design", _say("quantity", "base", "low", "high", "known"), rows, {1, 2, 3})


def goods(content: Content, units: str, settings: Settings) -> Section | None:
    """Bill of materials."""
    from pipeline.materials import catalogue

    if not content["bill_lines"]:
        return None
    labels = dict(zip(*(catalogue(settings).items[c] for c in ("item_id", "label")), strict=True))
    rows = []
    for row in content["bill_lines"]:
        quantity, unit = row["quantity"], row["sale_unit"]
        if unit == "m" and units == "us":
            quantity, unit = float(convert(quantity, "m", "ft")), "ft"
        cost = "-" if row["cost"] is None else f"{row['cost']:,.2f} {row['currency']}"
        count = figures(quantity, 0 if quantity == int(quantity) else 1)
        long = amount("length_m", row["length_m"], units) if unit not in ("m", "ft") else "-"
        rows.append([count, unit, long, str(labels.get(row["item_id"], row["item_id"])),
                     amount("mass_kg", row["mass_kg"], units), cost])  # fmt: skip
    return _section("bill", _say("quantity", "unit", "length_all", "item", "mass", "price"), rows, {0, 2, 4, 5})


def calculation(content: Content, units: str) -> Section | None:
    """Every line of the calculation: formula, inputs, result, source."""
    like = {row["symbol"]: row["like"] for row in schema.rows("sheet_symbols")}
    titles = {row["check_code"]: row["title"].lower() for row in schema.rows("checks")}
    rows = []
    for line in content["calculation"]:
        put_in = "; ".join(f"{i['symbol']} = {sheet_number(i['value'], i['unit'], units)} ({i['words']}; {i['source']})"
                           for i in line["inputs"])  # fmt: skip
        result = f"{line['symbol']} = {sheet_number(line['value'], line['unit'], units)}"
        if like.get(line["symbol"]):
            trade = amount(like[line["symbol"]], line["value"], units)
            result += f" ({trade})" if trade not in result else ""
        title = line["title"] if not line["check_code"] else f"{line['title']}: {titles[line['check_code']]}"
        rows.append([str(line["number"]), title, f"{line['symbol']} = {line['formula']}", put_in, result,
                     line["reference_id"]])  # fmt: skip
    return _section("calculation", _say("line", "quantity", "formula", "inputs", "result", "source"), rows)


def checks(content: Content, units: str) -> Section | None:
    """Checks of the pipe recommended."""
    wanted = content["selection"][0]["option_id"]
    chosen = next((o for o in content["options"] if o["option_id"] == wanted), None)
    if chosen is None:
        return None
    about = {row["check_code"]: (row["title"], row["reference_id"]) for row in schema.rows("checks")}
    rows = []
    for check in chosen["checks"]:
        title, reference = about[check["check"]]
        share = words.say("explain.not_judged") if check["passes"] is None else f"{check['utilisation'] or 0:.0%}"
        pair = [by_check(check["check"], check[side], check["unit"], units)
                if check["passes"] is not None or check[side] else "-" for side in ("need", "have")]  # fmt: skip
        rows.append([title, *pair, share, reference])
    return _section("checks", _say("check", "need", "have", "share", "source"), rows, {1, 2, 3})


def others(content: Content, units: str) -> Section | None:
    """The best pipe of each family beside the one recommended, with what it costs and what it comes nearest to."""
    del units
    best: dict[str, dict[str, Any]] = {}
    for option in content["options"]:
        score = option["score"] if option["passes"] and option["score"] is not None else float("inf")
        now = best.get(option["family"])
        if score < float("inf") and (now is None or score < now["score"]):
            best[option["family"]] = option
    rows = []
    for option in sorted(best.values(), key=lambda o: o["score"]):
        judged = [(c["utilisation"], c["check"]) for c in option["checks"] if c["utilisation"] is not None
                  and c["kind"] == "stop"]  # fmt: skip
        most = max(judged, default=(0.0, ""))
        title = next((r["title"] for r in schema.rows("checks") if r["check_code"] == most[1]), "-")
        rows.append([option_words(option["option_id"]), f"{option['score']:,.0f}", title, f"{most[0]:.0%}"])
    return _section("others", _say("pipe", "score", "check", "share"), rows, {1, 3})
