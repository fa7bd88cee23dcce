"""Records to lines of text, and the faults that live in lines rather than in values."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from random import Random
from typing import Any

Truth = dict[str, list[str]]
Record = dict[str, str]


def number(value: float | None, digits: int = 1, comma: bool = False) -> str:
    """A number as typed: fixed digits, no trailing zeros, maybe a decimal comma."""
    if value is None:
        return ""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    text = "0" if text == "-0" else text
    return text.replace(".", ",") if comma else text


def some(rng: Random, share: float, text: str) -> str:
    """The text in a share of the records, else nothing."""
    return text if rng.random() < share else ""


def mdy(day: dt.date) -> str:
    """m/d/yyyy without leading zeros."""
    return f"{day.month}/{day.day}/{day.year}"


class Planter:
    """Plants faults in records that carry none yet, and remembers which ids got which.

    Each record gets one fault of the value kind at most, so that a test can say what must be found.
    """

    def __init__(self, rng: Random, records: list[Record], key: str):
        self.rng, self.records, self.key = rng, records, key
        self.truth: Truth = defaultdict(list)
        self._free = list(range(len(records)))
        rng.shuffle(self._free)

    def take(self, count: int, name: str, fits: Any = None) -> list[Record]:
        """Records that get the fault ``name``; fewer than asked is a fault of the scenario."""
        chosen = [i for i in self._free if fits is None or fits(self.records[i])][:count]
        if len(chosen) < count:
            raise RuntimeError(f"Only {len(chosen)} of {count} records can carry '{name}'.")
        taken = set(chosen)
        self._free = [i for i in self._free if i not in taken]
        self.truth[name] += [self.records[i][self.key] for i in chosen]
        return [self.records[i] for i in chosen]

    def put(self, count: int, name: str, column: str, change: Any, fits: Any = None) -> None:
        """Change one column of ``count`` records; ``change`` takes the record and gives the new text."""
        for record in self.take(count, name, fits or (lambda r: r[column] != "")):
            record[column] = change(record)


def joined(cells: list[str], delimiter: str) -> str:
    """One line; cells with the delimiter, a quote or a line break are quoted."""
    return delimiter.join(
        '"' + c.replace('"', '""') + '"' if any(s in c for s in (delimiter, '"', "\n")) else c for c in cells
    )


def damage(
    rng: Random, lines: list[str], header: str, delimiter: str, few: int, many: int, repeated: int, truth: Truth
) -> list[str]:
    """Lines cut short, lines with cells too many, and the header once more in the middle."""
    whole = [i for i, line in enumerate(lines) if "\n" not in line and '"' not in line]
    for place in rng.sample(whole, few + many):
        cells = lines[place].split(delimiter)
        if len(truth["line_too_short"]) < few:
            truth["line_too_short"].append(cells[0])
            lines[place] = delimiter.join(cells[: len(cells) // 2])
        else:
            truth["line_too_long"].append(cells[0])
            lines[place] = delimiter.join([*cells, *cells[2:5]])
    for _ in range(repeated):
        place = rng.randrange(len(lines) // 4, len(lines))
        lines.insert(place, header)
        truth["header_again"].append("")
    return lines
