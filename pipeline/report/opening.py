"""First sections of the report: what was asked, what went in and came out, how good the records are."""

from __future__ import annotations

from typing import Any

from pipeline import schema, words
from pipeline.report import blocks, charts, names
from pipeline.report.facts import Facts, share, text


def asked(facts: Facts) -> dict[str, Any]:
    """What was asked, the verdict of the gate, and the figures to remember."""
    outcomes = {row["code"]: row["wells"] for row in facts.rows("outcomes")}
    wells = sum(outcomes.values())
    with_pipe = outcomes.get("recommended", 0) + outcomes.get("recommended_with_caution", 0)
    lengths = facts.rows("lengths")
    low, base, high = (sum(row[f"{k}_m"] or 0 for row in lengths) for k in ("low", "base", "high"))
    stops = facts.ask("SELECT count(DISTINCT (source_id, well_id)) AS n FROM risks WHERE severity_code = 'stop'")[0][
        "n"
    ]
    unit = facts.unit("length_m")
    tiles = [
        (text(wells), words.say("report.tile.wells")),
        (text(with_pipe), words.say("report.tile.recommended", share=share(with_pipe, wells))),
        (text(outcomes.get("none_passes", 0)), words.say("report.tile.none_passes")),
        (
            f"{text(facts.show(base, 'length_m'))} {unit}",
            words.say(
                "report.tile.length",
                low=text(facts.show(low, "length_m")),
                high=text(facts.show(high, "length_m")),
                unit=unit,
            ),
        ),
        (text(stops), words.say("report.tile.stops")),
    ]
    outcome_table = blocks.table(
        words.say("report.asked.outcomes"),
        [words.label("outcome_code"), words.say("report.wells"), words.say("report.share")],
        [[words.codes("outcome").get(code, code), text(n), share(n, wells)] for code, n in outcomes.items()],
        numbers=(1, 2),
        foot=[words.say("report.total"), text(wells), share(wells, wells)],
    )
    return blocks.section(
        "asked", {"kind": "tiles", "tiles": tiles}, _verdict(facts), _question(facts), outcome_table, wells=text(wells)
    )


def _verdict(facts: Facts) -> dict[str, Any]:
    gate = facts.manifest.get("gate", {})
    passed = gate.get("passed")
    metrics = facts.ask(
        "SELECT *, NOT coalesce(share_failed_fraction <= share_allowed_fraction, false) AS over FROM metrics"
        " WHERE rows_judged_count > 0 AND share_allowed_fraction < 1"
        " ORDER BY over DESC, share_failed_fraction DESC, rule_code, source_id LIMIT 12"
    )
    if passed is None:
        line, mood = words.say("report.gate.unknown"), "plain"
    elif passed:
        line, mood = words.say("report.gate.passed"), "good"
    else:
        over = sorted({names.rule(row["rule_code"])["title"] for row in metrics if row["over"]})
        line, mood = words.say("report.gate.failed", rules="; ".join(over) or words.say("report.gate.sample")), "bad"
    rows = [
        [
            f"{row['rule_code']}  {names.rule(row['rule_code'])['title']}",
            row["source_id"],
            text(row["rows_judged_count"]),
            share(row["rows_failed_count"], row["rows_judged_count"]),
            f"{row['share_allowed_fraction']:.1%}".replace("%", " %"),
            words.say("report.gate.over" if row["over"] else "report.gate.within"),
        ]
        for row in metrics
    ]
    headers = [
        words.label("rule_code"),
        words.label("source_id"),
        words.label("rows_judged_count"),
        words.label("share_failed_fraction"),
        words.label("share_allowed_fraction"),
        words.say("report.gate.verdict"),
    ]
    judged = blocks.table(words.say("report.gate.table"), headers, rows, numbers=(2, 3, 4)) if rows else None
    return {"kind": "verdict", "line": line, "mood": mood, "table": judged}


def _files(found: dict[str, Any], most: int = 12) -> list[str]:
    """Files that gave rows, the first dozen; inputs that are no table stand in the manifest."""
    names_of = list(dict.fromkeys(entry.get("file", "") for entry in found.get("ledger", [])))
    return names_of[:most] + (["…"] if len(names_of) > most else [])


def _question(facts: Facts) -> dict[str, Any]:
    found, settings = facts.manifest, facts.manifest.get("settings", {})
    market = words.codes("market").get(settings.get("market") or "", words.say("report.asked.by_source"))
    rows = [
        (words.say("report.asked.inputs"), ", ".join(_files(found))),
        (words.say("report.asked.as_of"), found.get("as_of") or "–"),
        (words.say("report.asked.market"), market),
        (words.say("report.asked.draws"), str(found.get("draws", settings.get("draws", "–")))),
        (words.say("report.asked.prices"), str(settings.get("prices", "–"))),
        (
            words.say("report.asked.changed"),
            ", ".join(sorted(settings.get("practice_overlay", {}))) or words.say("report.none"),
        ),
    ]
    if settings.get("limit"):
        rows.append((words.say("report.asked.limit"), text(settings["limit"])))
    return blocks.table(
        words.say("report.asked.table"), [words.say("report.asked.what"), words.say("report.asked.value")], rows
    )


def ledger(facts: Facts) -> dict[str, Any]:
    """What went in and what came out, file by file; the counts must add up."""
    entries = facts.manifest.get("ledger", [])
    rows, totals, balanced = [], [0, 0, 0, 0], True
    for entry in entries:
        used = entry.get("rows_used", 0)
        out = [sum((entry.get(key) or {}).values()) for key in ("excluded", "quarantined")]
        read = entry.get("rows_read", 0)
        balanced = balanced and read == used + sum(out)
        numbers = [read, used, *out]
        totals = [a + b for a, b in zip(totals, numbers, strict=True)]
        rows.append([entry.get("file", ""), entry.get("table", ""), text(entry.get("lines")), *map(text, numbers)])
    shown, note = blocks.some(rows, 60)
    headers = [
        words.say(f"report.ledger.{k}")
        for k in ("file", "table_name", "lines", "read", "used", "excluded", "quarantined")
    ]
    books = blocks.table(
        words.say("report.ledger.table"),
        headers,
        shown,
        numbers=(2, 3, 4, 5, 6),
        note=note,
        foot=[words.say("report.total"), "", "", *map(text, totals)],
    )
    not_read = facts.manifest.get("not_read", [])
    told = [e if isinstance(e, dict) else {"file": str(e)} for e in not_read]
    missed = [[e.get("file", ""), e.get("reason", "")] for e in told if e.get("is_table", True)]
    others = len(not_read) - len(missed)
    if others:
        missed.append([words.say("report.ledger.others", count=text(others)), words.say("report.ledger.no_table")])
    unread = blocks.table(
        words.say("report.ledger.not_read"), [words.say("report.ledger.file"), words.label("reason_code")], missed
    )
    return blocks.section(
        "ledger",
        books,
        unread if missed else None,
        _faults(facts),
        adds=words.say("report.ledger.adds_up" if balanced else "report.ledger.does_not"),
    )


def fault_name(row: dict[str, Any]) -> str:
    """Reason in words: rules by their title, the others from the catalogue."""
    if row["kind"] == "issue":
        return f"{row['code']}  {names.rule(row['code'])['title']}"
    return words.reason(row["code"])


def _faults(facts: Facts) -> dict[str, Any] | None:
    faults = facts.rows("faults")
    rows, note = blocks.some(sorted(faults, key=lambda row: (-row["rows"], row["kind"], row["code"])), 20)
    if not rows:
        return None
    cells = [[fault_name(row), words.say(f"report.kind.{row['kind']}"), text(row["rows"]), place(row)] for row in rows]
    headers = [
        words.label("reason_code"),
        words.say("report.ledger.what"),
        words.say("report.rows"),
        words.say("report.ledger.first"),
    ]
    return blocks.table(words.say("report.ledger.reasons"), headers, cells, numbers=(2,), note=note)


def place(row: dict[str, Any]) -> str:
    """Where a reason stands first: file and line, or record where the line is not known."""
    if not row["file"]:
        return "–"
    if row["line"] is not None:
        return words.say("report.place.line", file=row["file"], line=row["line"])
    if row["row"] is not None:
        return words.say("report.place.row", file=row["file"], row=row["row"])
    return str(row["file"])


def records(facts: Facts) -> dict[str, Any]:
    """How good the records are: grades, and how the design values are known."""
    grades = {row["code"]: row["wells"] for row in facts.rows("grades")}
    wells = sum(grades.values())
    labels = words.codes("grade")
    steps = list(reversed(charts.STEPS[1:6]))
    drawn = charts.bars(
        [
            (
                f"{code}: {labels[code]}",
                grades.get(code, 0),
                f"{text(grades.get(code, 0))}  ({share(grades.get(code, 0), wells)})",
                steps[i],
            )
            for i, code in enumerate(labels)
        ]
    )
    grade_table = blocks.table(
        words.say("report.records.grades"),
        [
            words.label("grade_code"),
            words.say("report.records.means"),
            words.say("report.wells"),
            words.say("report.share"),
        ],
        [[code, name, text(grades.get(code, 0)), share(grades.get(code, 0), wells)] for code, name in labels.items()],
        numbers=(2, 3),
        foot=[words.say("report.total"), "", text(wells), ""],
    )
    basis, codes = facts.basis(), words.codes("basis")
    series = [(code, name, charts.BASIS.get(code, charts.NONE_COLOUR)) for code, name in codes.items()]
    known = [(words.label(row["field"] + _ending(row["field"])), {c: row[c] for c in codes}, "") for row in basis]
    known = [
        (name, values, share(values["recorded"], sum(values.values())))
        for name, values, _ in known
        if sum(values.values())
    ]
    basis_table = blocks.table(
        words.say("report.records.basis"),
        [words.say("report.records.value"), *codes.values()],
        [[name, *(share(values[c], sum(values.values())) for c in codes)] for name, values, _ in known],
        numbers=range(1, 1 + len(codes)),
    )
    return blocks.section(
        "records",
        blocks.figure("bars", words.say("report.records.grades"), words.say("report.records.grades_about"), drawn),
        grade_table,
        blocks.figure(
            "stacked",
            words.say("report.records.basis"),
            words.say("report.records.basis_about"),
            charts.stacked(known, series),
        ),
        basis_table,
        ab=share(grades.get("A", 0) + grades.get("B", 0), wells),
    )


def _ending(stem: str) -> str:
    """The unit ending of the design column with this stem, so that its words are found."""
    names_of = [c.field.name for c in schema.table("design")]
    return next((n.removeprefix(stem) for n in names_of if n.startswith(stem) and schema.stem(n) == stem), "")
