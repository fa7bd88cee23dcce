"""The closing lines of a run on the terminal."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

from pipeline import words
from pipeline.report import names
from pipeline.report.facts import Facts, share, text


def last_lines(folder: Path) -> list[str]:
    """Ten lines that say what a run did: ledger, reasons, families, length, wells to look at, what next.

    Parameters
    ----------
    folder : Path
        Run folder with its tables and manifest; units are those of the manifest.

    Raises
    ------
    UsageError
        When the folder holds no table ``selection``.
    """
    from pipeline.report.facts import manifest

    folder = Path(folder)
    units = (manifest(folder).get("settings") or {}).get("units") or "us"
    with Facts(folder, units) as facts:
        first = facts.look_first(3)
        return [
            _ledger(facts),
            _reasons(facts),
            _outcomes(facts),
            _families(facts),
            _length(facts),
            _flags(facts),
            _look(first),
            words.say("summary.caution"),
            words.say("summary.report", report=folder / "report.html"),
            _next(facts, folder, first),
        ]


def _ledger(facts: Facts) -> str:
    entries = facts.manifest.get("ledger", [])
    out = {key: sum(sum((e.get(key) or {}).values()) for e in entries) for key in ("excluded", "quarantined")}
    gate = facts.manifest.get("gate", {})
    if gate.get("passed", True):
        verdict = words.say("summary.gate.passed") if "passed" in gate else ""
    else:
        over = facts.ask(
            "SELECT DISTINCT rule_code FROM metrics WHERE rows_judged_count > 0"
            " AND NOT coalesce(share_failed_fraction <= share_allowed_fraction, false) ORDER BY rule_code LIMIT 4"
        )
        titles = [f"{row['rule_code']} {names.rule(row['rule_code'])['title']}" for row in over]
        verdict = words.say("summary.gate.failed", rules="; ".join(titles) or words.say("report.gate.sample"))
    return words.say(
        "summary.ledger",
        read=text(sum(e.get("rows_read", 0) for e in entries)),
        used=text(sum(e.get("rows_used", 0) for e in entries)),
        excluded=text(out["excluded"]),
        quarantined=text(out["quarantined"]),
        gate=verdict,
    ).strip()


def _reasons(facts: Facts) -> str:
    from pipeline.report.opening import fault_name, place

    rows = sorted(facts.rows("faults"), key=lambda row: (-row["rows"], row["kind"], row["code"]))[:5]
    if not rows:
        return words.say("summary.no_reasons")
    told = [
        words.say("summary.reason", reason=" ".join(fault_name(row).split()), rows=text(row["rows"]), place=place(row))
        for row in rows
    ]
    return words.say("summary.reasons", reasons="; ".join(told))


def _outcomes(facts: Facts) -> str:
    counts = {row["code"]: row["wells"] for row in facts.rows("outcomes")}
    pipe = counts.get("recommended", 0) + counts.get("recommended_with_caution", 0)
    wells, none = sum(counts.values()), counts.get("none_passes", 0)
    return words.say(
        "summary.outcomes", wells=text(wells), pipe=text(pipe), none=text(none), other=text(wells - pipe - none)
    )


def _families(facts: Facts) -> str:
    rows = facts.rows("families")
    whole = sum(row["wells"] for row in rows)
    told = [f"{names.family(row['code'])} {share(row['wells'], whole)}" for row in rows]
    return words.say("summary.families", families=", ".join(told) or words.say("report.none"))


def _length(facts: Facts) -> str:
    rows = facts.rows("lengths")
    sums = {k: text(facts.show(sum(row[f"{k}_m"] or 0 for row in rows), "length_m")) for k in ("low", "base", "high")}
    return words.say("summary.length", unit=facts.unit("length_m"), **sums)


def _flags(facts: Facts) -> str:
    counts: dict[str, int] = {}
    for row in facts.rows("flags"):
        counts[row["severity_code"]] = counts.get(row["severity_code"], 0) + row["wells"]
    told = words.say(
        "summary.flags",
        stops=text(counts.get("stop", 0)),
        cautions=text(counts.get("caution", 0)),
        notes=text(counts.get("note", 0)),
    )
    return f"{told} {_repairs(facts)}".strip()


def _repairs(facts: Facts) -> str:
    """Proposed repairs: how many are open, which codes, how to use them; how many the run has used."""
    rows = facts.ask("SELECT code, is_accepted AS used, count(*) AS n FROM repairs GROUP BY ALL ORDER BY code")
    open_, used = (sum(row["n"] for row in rows if bool(row["used"]) is which) for which in (False, True))
    told = [words.say("summary.repairs.used", count=text(used))] if used else []
    if open_:
        codes = ", ".join(f"{row['code']} {text(row['n'])}" for row in rows if not row["used"])
        told.append(words.say("summary.repairs.open", count=text(open_), codes=codes))
    return " ".join(told)


def _look(first: list[dict[str, Any]]) -> str:
    if not first:
        return words.say("summary.look_none")
    told = [f"{row['well_id']} ({names.trouble(row['leading_reason'])})" for row in first]
    return words.say("summary.look", wells=", ".join(told))


def _next(facts: Facts, folder: Path, first: list[dict[str, Any]]) -> str:
    (wells,) = facts.ask("SELECT count(*) AS n FROM selection")
    if not wells["n"]:
        return words.say("summary.next_none")
    return words.say("summary.next", folder=shlex.quote(str(folder)), well=_named(facts, first))


def _named(facts: Facts, first: list[dict[str, Any]]) -> str:
    """A well for the next command; with its source where two sources share the id."""
    found = first or facts.ask("SELECT source_id, well_id FROM selection ORDER BY source_id, well_id LIMIT 1")
    if not found:
        return "ID"
    well, source = found[0]["well_id"], found[0]["source_id"]
    (same,) = facts.ask("SELECT count(*) AS n FROM selection WHERE well_id = $well", well=well)
    return shlex.quote(well if same["n"] == 1 else f"{source}:{well}")
