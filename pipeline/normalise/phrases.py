"""Facts in free text: a number with its unit that follows declared words, cut out of a remark.

What introduces a fact, which words forbid it and which units it may have stands in ``schemas/phrases.csv``. Only the
number and its unit leave the remark; the rest, which may hold names, is dropped.
"""

from __future__ import annotations

import re
from functools import cache

import pyarrow as pa

from pipeline import schema
from pipeline.errors import SchemaError
from pipeline.normalise import text

_NUMBER = r"\d+(?:\.\d+)?"
# between the words and the number: a blank, a sign, at, of, to
_GAP = r"[\s:=@~]*(?:(?:at|of|to|approx\.?|about)\s+)?"


@cache
def _pattern(name: str) -> tuple[re.Pattern[str], re.Pattern[str] | None]:
    row = next((r for r in schema.rows("phrases") if r["phrase"] == name), None)
    if row is None:
        raise SchemaError(f"schemas/phrases.csv knows no phrase '{name}'.")
    leads = sorted(row["leads"].split("|"), key=len, reverse=True)
    spoken = "|".join(r"\s+".join(re.escape(word) for word in lead.split()) for lead in leads)
    units = sorted(row["unit_words"].split("|"), key=len, reverse=True)
    # a word of a unit ends there: 25 m is a depth, 25 max is none; 5'6" is two numbers and read as written
    unit = "|".join(re.escape(word) + (r"\b" if word.isalpha() else "") for word in units)
    found = re.compile(
        rf"(?<![a-z])(?:{spoken}){_GAP}(?P<low>{_NUMBER})\s*(?P<unit1>{unit})?"
        rf"(?:\s*(?:to|-)\s*(?P<high>{_NUMBER})\s*(?P<unit2>{unit})?)?",
        re.IGNORECASE,
    )
    stops = [word for word in row["stops"].split("|") if word]
    stop = re.compile(r"\b(?:" + "|".join(map(re.escape, stops)) + r")\b", re.IGNORECASE) if stops else None
    return found, stop


def cut_one(remark: str, name: str) -> str:
    """The fact of one remark as ``480 ft`` or ``60-70 ft``; "" when it tells none, several, or one without a unit."""
    pattern, stop = _pattern(name)
    told: list[str] = []
    for match in pattern.finditer(remark):
        unit = match["unit2"] or match["unit1"]
        sentence = re.split(r"[.;\n]", remark[: match.start()])[-1]
        if not unit or (stop and stop.search(sentence)):
            continue
        if match["high"] and not match["unit2"]:
            # 30' to 16: the second number is of something else
            low, high = match["low"], ""
        else:
            low, high = match["low"], match["high"] or ""
        word = "ft" if unit == "'" else unit.lower()
        told.append(f"{low}-{high} {word}" if high and high != low else f"{low} {word}")
    return told[0] if len(set(told)) == 1 else ""


def cut(coded: text.Coded, name: str) -> text.Coded:
    """A column of remarks with each replaced by the fact it tells, and emptied where it tells none."""
    facts = [cut_one(remark, name) for remark in coded.texts.to_pylist()]
    found = text.Coded(coded.codes, pa.array(facts, type=pa.string()))
    return found.without(text.is_in(found.texts, {""}))
