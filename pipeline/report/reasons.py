"""Last sections of the report: what governs, why not, flags, wells to look at, method and cautions."""

from __future__ import annotations

from typing import Any

from pipeline import schema, words
from pipeline.report import blocks, charts, names
from pipeline.report.facts import Facts, round_text, share, text

SEVERITY = {"stop": "#8f1d2c", "caution": "#c98a10", "note": "#7d8a93"}


def governs(facts: Facts) -> dict[str, Any]:
    """What decides the pipe."""
    rows = facts.rows("governs")
    counts: dict[str, dict[str, float]] = {}
    for row in rows:
        counts.setdefault(row["code"], {})[row["family_code"]] = row["wells"]
    order = sorted(counts, key=lambda code: (-sum(counts[code].values()), code))
    kinds = [f for f in names.FAMILIES if any(f in c for c in counts.values())]
    wells = sum(sum(c.values()) for c in counts.values())
    drawn = charts.bars(
        [
            (
                names.check(c),
                sum(counts[c].values()),
                f"{text(sum(counts[c].values()))}  ({share(sum(counts[c].values()), wells)})",
                charts.STEPS[4],
            )
            for c in order
        ]
    )
    cells = [
        [names.check(c), text(sum(counts[c].values())), *(text(counts[c].get(f, 0)) for f in kinds)] for c in order
    ]
    why = blocks.table(
        words.say("report.governs.table"),
        [words.label("check_code"), words.say("report.wells"), *(names.family(f) for f in kinds)],
        cells,
        numbers=range(1, 2 + len(kinds)),
        foot=[words.say("report.total"), text(wells), *(text(sum(counts[c].get(f, 0) for c in order)) for f in kinds)],
    )
    return blocks.section(
        "governs",
        blocks.figure("bars", words.say("report.governs.figure"), words.say("report.governs.about"), drawn),
        why,
    )


def why_not(facts: Facts) -> dict[str, Any]:
    """Why the other families were not chosen."""
    rows = facts.rows("why_not")
    totals: dict[str, dict[str, float]] = {}
    for row in rows:
        by_reason = totals.setdefault(row["family_code"], {})
        by_reason[row["reason_code"]] = by_reason.get(row["reason_code"], 0) + row["wells"]
    order = [f for f in names.FAMILIES if f in totals]
    series = [
        ("limit", words.say("not_chosen.limit"), "#8f1d2c"),
        ("cost", words.say("not_chosen.cost"), "#6aa7b5"),
        ("penalty", words.say("not_chosen.penalty"), "#e6c27a"),
        ("not_on_market", words.say("not_chosen.not_on_market"), "#b9b2a7"),
        ("local_rule", words.say("not_chosen.local_rule"), "#5b4a8a"),
    ]
    drawn = charts.stacked([(names.family(f), totals[f], text(sum(totals[f].values()))) for f in order], series)
    some = [row for family in order for row in [r for r in rows if r["family_code"] == family][:6]]
    note = words.say("report.more", shown=len(some), all=text(len(rows))) if len(some) < len(rows) else ""
    currency = facts.currency()
    cells = []
    for row in some:
        need, unit = facts.show_by_ucum(row["need"], row["unit"])
        have, _ = facts.show_by_ucum(row["have"], row["unit"])
        reason = words.reason(row["reason_code"])
        told = f"{reason}: {names.check(row['check_code'])}" if row["check_code"] else reason
        cells.append(
            [
                names.family(row["family_code"]),
                told,
                text(row["wells"]),
                f"{round_text(need)} {unit}".strip(),
                f"{round_text(have)} {unit}".strip(),
                round_text(row["cost_extra"]),
            ]
        )
    table = blocks.table(
        words.say("report.why_not.table"),
        [
            words.label("family_code"),
            words.label("reason_code"),
            words.say("report.wells"),
            words.say("report.why_not.need"),
            words.say("report.why_not.have"),
            words.say("report.why_not.extra", currency=currency),
        ],
        cells,
        numbers=(2, 3, 4, 5),
        note=note,
        marks=[charts.colour(row["family_code"]) for row in some],
    )
    return blocks.section(
        "why_not",
        blocks.figure("stacked", words.say("report.why_not.figure"), words.say("report.why_not.about"), drawn),
        table,
    )


def flags(facts: Facts) -> dict[str, Any]:
    """Risk flags by severity."""
    rows = facts.rows("flags")
    some, note = blocks.some(rows, 40)
    shown = sorted(
        rows, key=lambda r: list(SEVERITY).index(r["severity_code"]) if r["severity_code"] in SEVERITY else 9
    )[:16]
    drawn = charts.bars(
        [
            (
                f"{r['code']}  {names.rule(r['code'])['title']}",
                r["wells"],
                text(r["wells"]),
                SEVERITY.get(r["severity_code"], charts.NONE_COLOUR),
            )
            for r in shown
        ]
    )
    severity = words.codes("severity")
    cells = [
        [
            f"{r['code']}  {names.rule(r['code'])['title']}",
            severity.get(r["severity_code"], r["severity_code"]),
            text(r["wells"]),
            text(r["changes"]),
            names.rule(r["code"])["action"],
        ]
        for r in some
    ]
    table = blocks.table(
        words.say("report.flags.table"),
        [
            words.say("report.flags.flag"),
            words.label("severity_code"),
            words.say("report.wells"),
            words.say("report.flags.changes"),
            words.label("action"),
        ],
        cells,
        numbers=(2, 3),
        note=note,
        marks=[SEVERITY.get(r["severity_code"], charts.NONE_COLOUR) for r in some],
    )
    legend = [{"name": severity[code], "colour": fill} for code, fill in SEVERITY.items()]
    figure = blocks.figure(
        "bars", words.say("report.flags.figure"), words.say("report.flags.about"), drawn | {"legend": legend}
    )
    stops = sum(row["wells"] for row in rows if row["severity_code"] == "stop")
    return blocks.section("flags", figure if rows else None, table if rows else None, stops=text(stops))


def practice(facts: Facts) -> dict[str, Any]:
    """The common head bands against the calculation."""
    rows = facts.rows("practice")
    codes = words.codes("practice_note")
    counts: dict[str, dict[str, int]] = {}
    for row in rows:
        counts.setdefault(row["code"], {})[row["family_code"]] = row["wells"]
    kinds = [f for f in (*names.FAMILIES, "none") if any(f in c for c in counts.values())]
    bands = [row for row in schema.rows("practice") if row["practice_id"].startswith("band_head_")]
    told = "; ".join(
        f"{names.family(row['practice_id'].removeprefix('band_head_'))} {row['base']} {row['unit']}" for row in bands
    )
    cells = [
        [codes.get(c, c), text(sum(v.values())), *(text(v.get(f, 0)) for f in kinds)] for c, v in sorted(counts.items())
    ]
    table = blocks.table(
        words.say("report.practice.table"),
        [
            words.label("practice_note_code"),
            words.say("report.wells"),
            *(names.family(f) if f != "none" else words.say("report.places.no_pipe") for f in kinds),
        ],
        cells,
        numbers=range(1, 2 + len(kinds)),
    )
    return blocks.section("practice", table if rows else None, bands=told)


def look_first(facts: Facts) -> dict[str, Any]:
    """Ten wells to look at first."""
    rows = facts.look_first(10)
    unit = facts.unit("length_m")
    cells = [
        [
            str(r["well_id"]),
            str(r["source_id"]),
            r["region_code"] or words.say("place.not_stated"),
            names.trouble(r["leading_reason"]),
            names.rule(r["leading_reason"])["action"],
            names.pipe(r["option_id"]) if r["option_id"] else words.say("report.places.no_pipe"),
            text(facts.show(r["length_drop_pipe_m"], "length_m")),
            r["grade_code"] or "–",
        ]
        for r in rows
    ]
    table = blocks.table(
        words.say("report.look_first.table"),
        [
            words.label("well_id"),
            words.label("source_id"),
            words.label("region_code"),
            words.say("report.look_first.why"),
            words.label("action"),
            words.label("option_id"),
            f"{words.label('length_drop_pipe_m')} [{unit}]",
            words.label("grade_code"),
        ],
        cells,
        numbers=(6,),
    )
    return blocks.section("look_first", table if rows else None)


def method(facts: Facts) -> dict[str, Any]:
    """How it was worked out, with every practice value used and its source."""
    overlay = facts.manifest.get("settings", {}).get("practice_overlay", {}) or {}
    sources = schema.references()
    cells = []
    for row in schema.rows("practice"):
        mine = {k: str(v) for k, v in (overlay.get(row["practice_id"], {}) or {}).items()}
        row = {**row, **mine}
        source = (
            words.say("report.method.yours")
            if mine
            else sources.get(row["reference_id"], {}).get("title", row["reference_id"])
        )
        cells.append(
            [
                row["practice_id"].replace("_", " "),
                row["low"],
                row["base"],
                row["high"],
                row["unit"],
                row["why"],
                source,
                words.say(f"report.how.{row['how']}") if not mine else "–",
            ]
        )
    headers = [
        words.say(f"report.method.{k}") for k in ("value", "low", "base", "high", "unit", "why", "source", "how")
    ]
    table = blocks.table(words.say("report.method.table"), headers, cells, numbers=(1, 2, 3))
    program = facts.manifest.get("program", {})
    program = program if isinstance(program, dict) else {}
    paragraphs = blocks.text(
        "report.method.design",
        "report.method.size",
        "report.method.rank",
        "report.method.draws",
        "report.method.limits",
        "report.method.program",
        version=program.get("version", "–"),
        draws=facts.manifest.get("draws", "–"),
    )
    return blocks.section("method", paragraphs, table)
