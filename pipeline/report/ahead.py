"""Section on the years ahead: pipe by year and cause, the first year with its bands, their sources, coverage."""

from __future__ import annotations

from typing import Any

from pipeline import schema, words
from pipeline.report import blocks, charts, names
from pipeline.report.facts import Facts, share, text

# apart in grey and in the common forms of colour blindness
_CAUSES = {"new": "#0b6e8f", "replaced": "#e39b16", "unrecorded": "#9aa5ad", "rehabilitated": "#262b45"}


def years(facts: Facts) -> dict[str, Any]:
    """What the years ahead take."""
    pipes = [row["option_id"] for row in schema.rows("options")]
    rows = facts.rows("years", pipes=pipes)
    if not rows:
        return blocks.section("years", blocks.text("report.years.none"), count="0")
    found = {(row["year"], row["cause_code"]): row for row in rows}
    order = sorted({row["year"] for row in rows})
    causes = [c for c in _CAUSES if any((y, c) in found for y in order)]
    labels, unit, currency = words.codes("cause"), facts.unit("length_m"), facts.currency()
    series = [(c, labels[c], _CAUSES[c]) for c in causes]

    def length(year: int, cause: str) -> float:
        row = found.get((year, cause))
        return facts.show(row["length_m"] or 0.0, "length_m") or 0.0 if row else 0.0

    drawn = charts.stacked(
        [(str(y), {c: length(y, c) for c in causes}, text(length(y, "every"))) for y in order], series
    )
    cells = [
        [str(y), *(text(length(y, c)) for c in causes), text(length(y, "every")),
         text(found[y, "every"]["cost"]) + ("" if not found[y, "every"]["no_price"] else " +")]
        for y in order
    ]  # fmt: skip
    headers = [words.label("year"), *(f"{labels[c]} [{unit}]" for c in causes), f"{labels['every']} [{unit}]",
               words.say("report.material.cost", currency=currency)]  # fmt: skip
    return blocks.section(
        "years",
        blocks.figure("stacked", words.say("report.years.figure", unit=unit), words.say("report.years.about"), drawn),
        blocks.table(words.say("report.years.table"), headers, cells, numbers=range(1, len(headers))),
        *_next(facts, pipes), _parts(facts), _coverage(facts), count=str(len(order)),
    )  # fmt: skip


def _next(facts: Facts, pipes: list[str]) -> list[dict[str, Any] | None]:
    """The first year: pipe with its bands."""
    rows = [row for row in facts.rows("next_year") if row["item_id"] in set(pipes)]
    if not rows:
        return []
    unit = facts.unit("length_m")

    def length(row: dict[str, Any], key: str) -> float:
        return facts.show(row[f"length_m_{key}"], "length_m") or 0.0

    drawn = charts.ranges(
        [(names.pipe_short(r["item_id"]), length(r, "p10"), length(r, "p50"), length(r, "p90"),
          charts.colour(names.family_of(r["item_id"]))) for r in rows[:12]],
        text,
    )  # fmt: skip
    some, note = blocks.some(rows, 25)
    spread = [words.say(f"report.material.{k}", unit=unit) for k in ("expected", "p10", "p50", "p90")]
    table = blocks.table(
        words.say("report.years.next_table", year=rows[0]["year"]),
        [words.label("item_id"), *spread, words.say("report.material.pieces")],
        [[names.item(r["item_id"]), *(text(length(r, k)) for k in ("expected", "p10", "p50", "p90")),
          text(r["pieces_expected"])] for r in some],
        numbers=range(1, 6), note=note, marks=[charts.colour(names.family_of(r["item_id"])) for r in some],
    )  # fmt: skip
    title = words.say("report.years.next_figure", year=rows[0]["year"], unit=unit)
    return [blocks.figure("ranges", title, words.say("report.material.about"), drawn), table]


def _parts(facts: Facts) -> dict[str, Any] | None:
    """What the bands of the largest pipes are made of."""
    rows = facts.ask(
        "SELECT cause_code, item_id, part_code, share_band_fraction AS share FROM ("
        "  SELECT *, dense_rank() OVER (PARTITION BY cause_code ORDER BY most DESC, item_id) AS place FROM ("
        "    SELECT *, max(length_m_p90) OVER (PARTITION BY cause_code, item_id) AS most FROM band_parts"
        "    WHERE region_level = 'all'))"
        " WHERE place <= 4 ORDER BY cause_code, place, part_code"
    )
    if not rows:
        return None
    causes, parts = words.codes("cause"), words.codes("band_part")
    held: dict[tuple[str, str], dict[str, float]] = {}
    for row in rows:
        held.setdefault((row["cause_code"], row["item_id"]), {})[row["part_code"]] = row["share"]
    cells = [[causes[c], names.item(i), *(share(found.get(p, 0.0), 1.0) for p in parts)]
             for (c, i), found in held.items()]  # fmt: skip
    return blocks.table(
        words.say("report.years.parts"), [words.label("cause_code"), words.label("item_id"), *parts.values()], cells,
        numbers=range(2, 2 + len(parts)),
    )  # fmt: skip


def _coverage(facts: Facts) -> dict[str, Any] | None:
    """Records found against wells estimated: the largest regions."""
    rows = facts.ask("SELECT * FROM coverage ORDER BY wells_count DESC NULLS LAST, area_code, region_code LIMIT 200")
    if not rows:
        return None
    shown = [c.field for c in schema.table("coverage") if c.field.type in ("number", "integer", "code")]
    some, note = blocks.some(rows, 15)
    labels = {f.name: words.codes(f.codes) for f in shown if f.codes}

    def cell(field: schema.Field, value: Any) -> str:
        if value is None:
            return "–"
        if field.codes:
            return labels[field.name].get(value, str(value))
        if field.name.endswith("_fraction"):
            return share(value, 1.0)
        return text(value, 0 if value >= 100 else 1)

    keys = [c.field.name for c in schema.table("coverage") if c.field.type == "string"]
    return blocks.table(
        words.say("report.years.coverage"), [*(words.label(k) for k in keys), *(words.label(f.name) for f in shown)],
        [[*(row[k] or words.say("place.not_stated") for k in keys), *(cell(f, row[f.name]) for f in shown)]
         for row in some],
        numbers=range(len(keys), len(keys) + len(shown)), note=note,
    )  # fmt: skip
