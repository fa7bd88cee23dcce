"""From the raw score of a guess to the chance that it is right, as counted on sources left out in turn.

One logistic line a kind of field and whether the guess is read or asked about, in score_map.csv. Where hardly any of
a kind was wrong there is no slope: the chance is the share right with one right and one wrong guess added.
"""

from __future__ import annotations

import math
from functools import cache

from pipeline import schema
from pipeline.ingest.proposal.model import Guess

# log odds beyond these say no more
_LEAST, _MOST = -4.0, 6.0


@cache
def _lines() -> dict[tuple[str, str], tuple[float, float]]:
    return {(row["kind"], row["state"]): (float(row["offset"]), float(row["slope"]))
            for row in schema.rows("score_map")}  # fmt: skip


def kind_of(guess: Guess) -> str:
    """``code`` (ids, codes, dates, places), or a quantity whose unit is ``written`` or ``inferred``."""
    declared = schema.fields().get(guess.field)
    if declared is None or declared.type != "number" or declared.unit in (None, "", "degree"):
        return "code"
    return "written" if guess.unit_written or guess.unit_from else "inferred"


def chance_of(guess: Guess) -> float:
    """Chance, 0 to 1, that field and unit of a guess are right; its raw ``score`` is the measure."""
    raw = min(max(guess.score, 1e-6), 1.0 - 1e-6)
    offset, slope = _lines()[kind_of(guess), "read" if guess.sure else "asked"]
    odds = min(max(math.log(raw / (1.0 - raw)), _LEAST), _MOST)
    return 1.0 / (1.0 + math.exp(-(offset + slope * odds)))
