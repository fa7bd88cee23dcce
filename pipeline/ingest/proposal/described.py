"""What a sister dictionary says of a column: fields and units that its sentence names."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from pipeline import schema
from pipeline.ingest.proposal.concepts import Header, parse
from pipeline.ingest.proposal.meaning import Meaning, meanings
from pipeline.ingest.proposal.unit_evidence import in_text

_FEWEST_ODDS = 0.0


@dataclass(frozen=True)
class Described:
    """A description taken apart."""

    text: str = ""
    meanings: tuple[Meaning, ...] = field(default=())

    def unit_for(self, name: str) -> str:
        """Unit named in the sentence that measures what the field measures."""
        return in_text(self.text, name) if self.text and schema.fields()[name].unit else ""


def read_descriptions(described: dict[str, str]) -> dict[str, Described]:
    """Descriptions by header; words that are not known count nothing, a sentence is full of them."""
    out = {}
    for header, text in described.items():
        first = re.split(r"[.;]\s", text.strip())[0]
        parsed = parse(first)
        loose = Header(tuple((concepts, 0) for concepts, _ in parsed.readings), parsed.unit)
        out[header] = Described(text.strip(), tuple(m for m in meanings(loose) if m.odds > _FEWEST_ODDS))
    return out
