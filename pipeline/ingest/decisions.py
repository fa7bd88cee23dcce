"""What was decided about each column, for the manifest and for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.ingest.proposal.model import Guess, TableProposal

if TYPE_CHECKING:
    from pipeline.ingest.survey import Found

_TELLS = ("units_row", "unit_column", "dictionary", "header")


def how(found: Guess) -> str:
    """By what the unit, or else the meaning, of a column is known."""
    told = [e for e in found.evidence if e.kind in _TELLS and e.weight > 0]
    return max(told, key=lambda e: e.weight).kind if told else "inferred"


def decisions_of(found: Found) -> list[dict[str, Any]]:
    """One row a column that is read: by what layout, or on what evidence."""
    layout, table = found.layout, found.table
    guesses = {(g.header, g.field): g for g in found.proposal.guesses} if found.proposal else {}
    out = []
    pairs = [(header, "well_id", "") for header in table.id]
    pairs += [(header, c.field, c.unit or (f"as in '{c.unit_from}'" if c.unit_from else ""))
              for c in table.columns.values() for header in c.sources]  # fmt: skip
    for header, name, unit in pairs:
        guess = guesses.get((header, name))
        told = "; ".join(e.text for e in guess.evidence) if guess else f"layout {layout.path or layout.id}"
        out.append({
            "source": layout.id, "table": table.name, "file": found.opened.name, "column": header, "field": name,
            "unit": unit, "how": how(guess) if guess else "layout", "evidence": told,
            "score": round(guess.score, 4) if guess else 1.0,
        })  # fmt: skip
    return out


def notes_of(table: TableProposal) -> list[str]:
    """What a table was read as, in words: columns read, columns left, how it joins, what is picked."""
    used = ", ".join(f"'{g.header}' as {g.field}" + (f" in {g.unit}" if g.unit else "")
                     for g in table.guesses if g.sure)  # fmt: skip
    taken = {g.header for g in table.guesses if g.sure} | {h for w in table.where.values() for h in w}
    taken |= {g.unit_from for g in table.guesses if g.sure} | set(table.id) | {table.order_by}
    left = ", ".join(f"'{h}'" for h in table.headers if h not in taken)
    out = [f"No layout knows it; read by its header: {used}. Not read: {left or 'none'}."]
    if table.link:
        out.append(f"A table of its own: {table.link}.")
    if table.pick:
        told = ", ".join(f"{name}: {table.reasons.get(name, pick)}" for name, pick in table.pick.items())
        order = f", rows in order of '{table.order_by}'" if table.order_by else ""
        out.append(f"Of several rows of a well{order}: {told}.")
    for header, texts in table.missing.items():
        out.append(f"In '{header}' {', '.join(texts)} stands for missing: repeated, and far from all other values.")
    doubtful = [g for g in table.guesses if g.field and not g.sure and g.field_score >= 0.5 and g.header not in taken]
    if doubtful:
        out.append("Not read for want of certainty: " + "; ".join(
            f"'{g.header}' may be {g.field} ({g.why_not})" for g in doubtful) + ".")  # fmt: skip
    return out
