"""Pages that say what is declared: dictionary, rules, sources, options, practice, check values; made, not written."""

from __future__ import annotations

from pathlib import Path

from pipeline import io, schema, source_list, words

FOLDER = "pages"  # beside the declarations, in a checkout


def pages() -> dict[str, str]:
    """Every page by file name, as Markdown."""
    return {
        "data_dictionary.md": _dictionary(), "rules.md": _rules(), "sources.md": _sources(), "options.md": _options(),
        "practice.md": _practice(), "check_values.md": _check_values(), "references.md": _references(),
    }  # fmt: skip


def write_pages(folder: Path) -> list[Path]:
    """Write every page into ``folder``; returns the files."""
    written = []
    for name, text in pages().items():
        io.write_text(folder / name, text)
        written.append(folder / name)
    return written


def _page(title: str, lead: str, *parts: str) -> str:
    return "\n\n".join([f"# {title}", lead, "Made by `wellstring pages`; do not edit.", *parts]) + "\n"


def _table(headers: list[str], rows: list[list[str]]) -> str:
    lines = [headers, ["---"] * len(headers), *rows]
    return "\n".join("| " + " | ".join(_cell(cell) for cell in line) + " |" for line in lines)


def _cell(text: str) -> str:
    return " ".join(str(text).split()).replace("|", "\\|")


def _dictionary() -> str:
    """Every table with every column: type, unit, UCUM, meaning, and the GroundWaterML2 term where there is one."""
    terms = {r["field"]: f"{r['feature']}.{r['term']}" if r["term"] else r["feature"] for r in schema.rows("gwml2")}
    parts = []
    for about in schema.rows("tables_about"):
        rows = [
            [f"`{c.field.name}`", words.label(c.field.name), c.field.type, c.field.unit, c.field.ucum,
             c.field.codes and f"codes/{c.field.codes}.csv", "key" if c.is_key else "", c.field.description,
             terms.get(c.field.name, "")]
            for c in schema.table(about["table"])
        ]  # fmt: skip
        headers = ["column", "in words", "type", "unit", "UCUM", "codes", "", "meaning", "GroundWaterML2"]
        head = f"## {about['table']}\n\n{about['sentence']} A row is {about['grain']}."
        parts.append(f"{head}\n\n{_table(headers, rows)}")
    return _page("Data dictionary", "Tables of a run, SI units; terms of GroundWaterML2 (OGC 16-032r3) stand beside "
                 "the columns that they mean.", *parts)  # fmt: skip


def _rules() -> str:
    parts = []
    for stage in dict.fromkeys(row["stage"] for row in schema.rows("rules")):
        rows = [
            [r["code"], r["title"], r["severity"], r["applies_to"], r["test"],
             " ".join(x for x in (r["limit"], r["unit"]) if x), r["why"], r["action"], r["reference_id"]]
            for r in schema.rows("rules") if r["stage"] == stage
        ]  # fmt: skip
        headers = ["code", "title", "severity", "speaks of", "test", "limit", "why", "what to do", "source"]
        parts.append(f"## Stage {stage}\n\n{_table(headers, rows)}")
    return _page("Rules", "What is judged, why, and what to do. A stop means physics, law or health; judgement alone "
                 "is a caution. Local code and a licensed contractor decide.", *parts)  # fmt: skip


def _sources() -> str:
    rows = [[str(cell) for cell in row.values()] for row in source_list.rows()]
    return _page("Sources", "Layouts of public records that are known; any other table is proposed column by column.",
                 _table(list(source_list.rows()[0]), rows))  # fmt: skip


def _rows_of(name: str) -> tuple[list[str], list[list[str]]]:
    rows = schema.rows(name)
    return list(rows[0]), [list(row.values()) for row in rows]


def _options() -> str:
    return _page("Options", "Pipe that can be bought, as declared; dimensions in SI as their names say.",
                 _table(*_rows_of("options")))  # fmt: skip


def _practice() -> str:
    return _page("Practice", "Limits and defaults of the trade; a settings file may replace each. How it is known: "
                 "read, computed, or from memory.", _table(*_rows_of("practice")))  # fmt: skip


def _check_values() -> str:
    return _page("Check values", "Printed values that the formulas are held against; `wellstring checks` runs them.",
                 _table(*_rows_of("reference/check_values")))  # fmt: skip


def _references() -> str:
    return _page("References", "Where facts come from.", _table(*_rows_of("references")))
