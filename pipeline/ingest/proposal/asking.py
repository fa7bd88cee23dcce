"""What is doubted in a proposal, what to ask and what an answer is worth, what is missing and assumed instead."""

from __future__ import annotations

from pipeline import schema, words
from pipeline.ingest.intake import folded
from pipeline.ingest.proposal.model import DECIDING, DEPTHS, Guess, Proposal, Question, TableProposal
from pipeline.ingest.proposal.related import LIKELY
from pipeline.ingest.proposal.unknown import Unknown

QUESTIONS = 3
# what the job uses, in the order in which it is told; one known field of a line suffices
USED = (
    ("depth", ("depth_drilled_m", "depth_completed_m")), ("static", ("depth_static_m",)),
    ("pumping", ("depth_pumping_m", "drawdown_test_m")), ("yield", ("flow_tested_m3_per_s",)),
    ("pump", ("depth_pump_m", "length_drop_pipe_m")), ("bore", ("diameter_casing_inside_m",)),
    ("use", ("use_code",)), ("date", ("completed_date",)), ("place", ("latitude_deg",)),
    ("chemistry", ("acidity_ph", "chloride_mg_per_l")),
)  # fmt: skip


def likely(guess: Guess) -> bool:
    """Whether a guess is good enough to be put before the user as the likely answer."""
    declared = schema.fields().get(guess.field)
    if declared is None or guess.sure or guess.field_score < LIKELY:
        return False
    return not declared.unit or bool(guess.unit or guess.unit_from) or guess.field.endswith("_deg")


def _filled(profile: Unknown, header: str) -> int:
    """Rows of a table in which a column says something."""
    return round(profile.rows * len(profile.values(header)) / max(len(profile.sample), 1))


def judge(proposal: Proposal, profiles: list[Unknown]) -> None:
    """Doubts and questions: what keeps the tables from being read without asking."""
    read = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    doubts: list[str] = []
    questions = list(proposal.questions)
    for table, profile in zip(proposal.tables, profiles, strict=True):
        half: dict[str, list[Guess]] = {}
        for found in table.guesses:
            half_read = found.field and not found.sure and found.field_score >= LIKELY
            if half_read and _decides(found, read) and len(profile.values(found.header)):
                half.setdefault(found.field, []).append(found)
        for name, rivals in half.items():
            doubts.append(_doubt(name, rivals))
            rows = max(_filled(profile, g.header) for g in rivals)
            questions.append(_question(name, rivals, table, rows))
    if not read & set(DEPTHS):
        doubts.insert(0, "no column with a written unit tells a depth or level")
    proposal.doubts = sorted(dict.fromkeys(doubts))
    rank = {name: place for place, name in enumerate(DECIDING)}
    fields = {(t.name, g.header): g.field for t in proposal.tables for g in t.guesses}
    # one answer serves columns of one name in several tables
    single: dict[tuple[str, str], Question] = {}
    for question in sorted(questions, key=lambda q: -q.rows):
        single.setdefault((folded(question.header), question.key), question)
    questions = list(single.values())
    questions.sort(key=lambda q: (-q.rows, rank.get(fields.get((q.table, q.header), ""), 99), q.text))
    proposal.questions = questions[:QUESTIONS]


def _decides(found: Guess, read: set[str]) -> bool:
    if found.field in read:
        return False
    ambiguous = schema.fields()[found.field].type == "date" and "day and month" in found.why_not
    return found.field in DECIDING or ambiguous


def _doubt(name: str, rivals: list[Guess]) -> str:
    if len(rivals) > 1:
        return f"columns {', '.join(repr(g.header) for g in rivals)} could all be {name}"
    found = rivals[0]
    if "no unit" in found.why_not:
        return f"column '{found.header}' looks like {name} and tells no unit"
    if "day and month" in found.why_not:
        return f"dates in '{found.header}' can be read day first or month first"
    return f"column '{found.header}' may be {name}" + (f": {found.why_not}" if found.why_not else "")


def _question(name: str, rivals: list[Guess], table: TableProposal, rows: int) -> Question:
    what = words.label(name).lower()
    found = rivals[0]
    if len(rivals) > 1:
        listed = " or ".join(repr(g.header) for g in rivals)
        text = f"Which column of {table.file} is the {what}: {listed}?"
        return Question(text, table.name, found.header, "from", tuple(g.header for g in rivals), rows)
    if "day and month" in found.why_not:
        text = f"Do dates in '{found.header}' of {table.file} put the day or the month first?"
        return Question(text, table.name, found.header, "date_order", ("dmy", "mdy"), rows)
    if "unit" in found.why_not:
        units = _units_for(name, found.unit)
        text = f"In which unit is '{found.header}' of {table.file} ({what}): {' or '.join(units)}?"
        return Question(text, table.name, found.header, "unit", units, rows)
    inside = f", in unit '{found.unit}'," if found.unit else ""
    text = f"Is '{found.header}' of {table.file}{inside} the {what}?"
    other = found.runner_up.split(" in ")[0]
    choices = tuple(dict.fromkeys(c for c in (name, other) if c))
    return Question(text, table.name, found.header, "from", choices, rows)


def _units_for(name: str, likely_unit: str) -> tuple[str, ...]:
    kinds = {"m": ("ft", "m"), "m**3/s": ("gpm", "L/s", "m**3/h")}
    small = ("in", "mm") if name.startswith("diameter_") else kinds.get(schema.fields()[name].unit, ())
    return tuple(dict.fromkeys(u for u in (likely_unit, *small) if u))


def lacking(proposal: Proposal) -> list[tuple[str, str]]:
    """Fields the job uses that no column tells, and what is assumed instead, from declared practice."""
    read = {g.field for t in proposal.tables for g in t.guesses if g.sure}
    practice = {row["practice_id"]: f"{row['base']} {row['unit']}".strip() for row in schema.rows("practice")}
    return [
        (names[0], words.say(f"assumed.{stem}", **practice)) for stem, names in USED if not read & set(names)
    ]  # fmt: skip
