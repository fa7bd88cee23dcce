"""How values would be read: the order of day and month, and samples for people."""

from __future__ import annotations

import numpy as np

from pipeline import schema
from pipeline.ingest import discreet
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.model import Guess

_MOST_SAMPLES = 3
_BELOW = "below ground"


def date_order(profile: Cells) -> tuple[str, bool]:
    """Order of slashed dates, and whether the values settle it."""
    if profile.slashed <= 0.0:
        return "ymd", True
    if profile.day_first == 0 and profile.month_first == 0:
        return "dmy", False
    order = "dmy" if profile.day_first >= profile.month_first else "mdy"
    least, most = sorted((profile.day_first, profile.month_first))
    return order, least <= 0.02 * most


def samples(found: Guess, profile: Cells) -> list[tuple[str, str]]:
    """Three texts of the column, spread over its values, and how each is read."""
    texts = list(dict.fromkeys(profile.texts))
    if not texts or not found.field:
        return []
    picks = [texts[0]]
    rest = texts[1:]
    if rest:
        picks += [rest[i] for i in np.unique(np.linspace(0, len(rest) - 1, _MOST_SAMPLES - 1).astype(int))]
    # a cell that holds no value may hold a name
    own = found.field == "well_id" or schema.fields()[found.field].type == "string"
    shown = [text if own else discreet.shown(text) for text in picks[:_MOST_SAMPLES]]
    return [(text, reading(text, found)) for text in shown]


def reading(text: str, found: Guess) -> str:
    """One text as it would be read."""
    declared = schema.fields()[found.field]
    if declared.type == "number" and declared.unit:
        where = ""
        if found.field.startswith("depth_"):
            where = " below the casing top" if found.below_casing_top else f" {_BELOW}"
        unit = found.unit or "(unit not known)"
        return f"{text} {unit}{where}" if text[-1:].isdigit() else f"{text}{where}"
    if declared.type == "code":
        known = schema.spellings(declared.codes).get(" ".join(text.lower().split())) or found.codes.get(text)
        return schema.codes(declared.codes)[known] if known else "not known"
    if declared.type == "date":
        return {"dmy": "day, month, year", "mdy": "month, day, year"}.get(found.date_order, "date")
    if declared.type == "boolean":
        known = schema.spellings("yes_no").get(" ".join(text.lower().split()))
        return {"true": "yes", "false": "no"}.get(known or "", "not known")
    return text
