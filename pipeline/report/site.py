"""Sections for the crew and the permit: how the strings are lifted, what rules of the place say."""

from __future__ import annotations

from typing import Any

from pipeline import schema, words
from pipeline.report import blocks, charts
from pipeline.report.facts import Facts, share, text


def lifting(facts: Facts) -> dict[str, Any] | None:
    """People or gear by the computed load; heaviest strings."""
    rows = facts.ask(
        "SELECT install_method_code AS code, count(*) AS wells, median(mass_pulled_full_kg) AS pulled,"
        " max(mass_pulled_full_kg) AS most, median(people_crew_count) AS people FROM install_plan"
        " WHERE install_method_code IS NOT NULL GROUP BY ALL ORDER BY pulled, code"
    )
    if not rows:
        return None
    labels, unit = words.codes("install_method"), facts.unit("mass_kg")
    wells = sum(row["wells"] for row in rows)
    drawn = charts.bars([
        (labels.get(r["code"], r["code"]), r["wells"], f"{text(r['wells'])}  ({share(r['wells'], wells)})",
         charts.STEPS[4]) for r in rows
    ])  # fmt: skip
    cells = [
        [labels.get(r["code"], r["code"]), text(r["wells"]), text(facts.show(r["pulled"], "mass_kg")),
         text(facts.show(r["most"], "mass_kg")), text(r["people"])] for r in rows
    ]  # fmt: skip
    headers = [words.label("install_method_code"), words.say("report.wells"),
               words.say("report.lifting.middle", unit=unit), words.say("report.lifting.most", unit=unit),
               words.say("report.lifting.people")]  # fmt: skip
    return blocks.section(
        "lifting", blocks.figure("bars", words.say("report.lifting.figure"), words.say("report.lifting.about"), drawn),
        blocks.table(words.say("report.lifting.table"), headers, cells, numbers=range(1, 5)),
    )  # fmt: skip


def local(facts: Facts) -> dict[str, Any] | None:
    """Rules of the places where the wells lie, by how many keep them."""
    rows = facts.ask(
        "SELECT rule_id, any_value(severity_code) AS severity, count(*) AS wells,"
        " count(*) FILTER (judgement_code = 'fails') AS fails, count(*) FILTER (judgement_code = 'not_judged') AS open"
        " FROM local_rules GROUP BY rule_id ORDER BY fails DESC, wells DESC, rule_id"
    )
    if not rows:
        return None
    about = {row["rule_id"]: row for row in schema.rows("jurisdiction")}
    some, note = blocks.some(rows, 40)
    severity = words.codes("severity")
    cells = [
        [about[r["rule_id"]]["area_code"] if r["rule_id"] in about else "–",
         about[r["rule_id"]]["sentence"] if r["rule_id"] in about else r["rule_id"],
         severity.get(r["severity"] or "", "–"), text(r["wells"]), text(r["fails"]), text(r["open"]),
         about[r["rule_id"]]["citation"] if r["rule_id"] in about else words.say("report.local.own")]
        for r in some
    ]  # fmt: skip
    headers = [words.label("area_code"), words.say("report.local.rule"), words.label("severity_code"),
               words.say("report.wells"), words.codes("judgement")["fails"], words.codes("judgement")["not_judged"],
               words.say("report.local.citation")]  # fmt: skip
    return blocks.section("local", blocks.table(words.say("report.local.table"), headers, cells, numbers=(3, 4, 5),
                                                note=note))  # fmt: skip
