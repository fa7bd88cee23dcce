"""Files of the user: branches with the regions they serve, items with packs, lead times and stock."""

from __future__ import annotations

import csv
import difflib
from fnmatch import fnmatchcase
from pathlib import Path

import pandas as pd

from pipeline import schema, words
from pipeline.errors import UsageError

_SHOWN = 12


def read(path: Path, kind: str) -> pd.DataFrame:
    """A CSV file of the user as declared in stock_columns.csv; ``row_number`` counts lines of the file from 1.

    Parameters
    ----------
    kind : str
        ``branches`` or ``items``.

    Raises
    ------
    UsageError
        With every fault found, each with its row and column.
    """
    declared = {r["column"]: r for r in schema.rows("stock_columns") if r["file"] == kind}
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as UTF-8 text ({error}).") from None
    lines = [line for line in csv.reader(text.splitlines())]
    top = next((n for n, cells in enumerate(lines) if cells and not cells[0].lstrip().startswith("#")), None)
    if top is None:
        raise UsageError(f"{path.name}: the file is empty; the first line must name the columns.")
    header = [name.strip().lower() for name in lines[top]]
    faults = [
        f"column '{name}' is not known{_near(name, list(declared))}" for name in header if name not in declared
    ] + [f"column '{name}' stands twice" for name in sorted({h for h in header if header.count(h) > 1})]
    faults += [f"column '{n}' is missing" for n, r in declared.items() if r["required"] == "yes" and n not in header]
    if faults:
        raise UsageError(f"{path.name}: {'; '.join(faults)}. Known columns: {', '.join(declared)}.")
    rows: dict[str, list[object]] = {name: [] for name in (*declared, "row_number")}
    for number, cells in enumerate(lines[top + 1 :], start=top + 2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            faults.append(f"row {number} has {len(cells)} cells, the first line {len(header)}")
            continue
        given = dict(zip(header, (cell.strip() for cell in cells), strict=True))
        rows["row_number"].append(number)
        for name, about in declared.items():
            value, fault = _value(given.get(name, ""), about)
            rows[name].append(value)
            if fault:
                faults.append(f"row {number}, column '{name}': {fault}")
    if not faults and not rows["row_number"]:
        faults = ["no row below the first line"]
    if faults:
        more = f"; and {len(faults) - _SHOWN} more" if len(faults) > _SHOWN else ""
        raise UsageError(f"{path.name}: {'; '.join(faults[:_SHOWN])}{more}. Correct the file.")
    frame = pd.DataFrame(rows)
    for name, about in declared.items():
        if about["type"] == "number":
            frame[name] = frame[name].astype(float)
    return frame


def _near(name: str, known: list[str]) -> str:
    close = difflib.get_close_matches(name, known, 1)
    return f" (did you mean '{close[0]}'?)" if close else ""


def _value(text: str, about: dict[str, str]) -> tuple[object, str]:
    """One cell in its type, and what is wrong with it."""
    if not text:
        return None, "is empty" if about["required"] == "yes" else ""
    if about["type"] == "text":
        return text, ""
    try:
        number = float(text.replace(",", "")) if text.count(",") and "." in text else float(text)
    except ValueError:
        return None, f"'{text}' is no number"
    least = float(about["minimum"]) if about["minimum"] else -float("inf")
    most = float(about["maximum"]) if about["maximum"] else float("inf")
    if not least <= number <= most:
        return None, f"{text} is outside {about['minimum'] or 'any'} to {about['maximum'] or 'any'}"
    return number, ""


def assignment(branches: pd.DataFrame | None, places: list[str], name: str = "") -> tuple[pd.DataFrame, list[str]]:
    """Share of each place that each branch serves.

    Parameters
    ----------
    branches : DataFrame or None
        As :func:`read` gives it; None makes every place a branch of its own.
    places : list of str
        Names as in ``demand``: "Area / Region".
    name : str
        Of the file, for messages.

    Returns
    -------
    served : DataFrame
        branch_id, place, share.
    unserved : list of str
        Places that no branch serves, or not in whole.

    Raises
    ------
    UsageError
        When a region fits no place, or a place is served more than once over.
    """
    if branches is None:
        return pd.DataFrame({"branch_id": places, "place": places, "share": 1.0}), []
    rows, faults = [], []
    split = {place: (place.split(" / ", 1)[0], place.split(" / ", 1)[-1]) for place in places}
    listed = branches[["row_number", "branch_id", "area_code", "region_code", "share"]].to_dict("records")
    for row in listed:
        share = 1.0 if pd.isna(row["share"]) else float(row["share"])
        area = row["area_code"] or "*"
        for pattern in (p.strip() for p in str(row["region_code"] or "*").split("|")):
            found = [p for p in places if _fits(split[p], p, str(area), pattern)]
            if not found:
                near = difflib.get_close_matches(pattern, [s[1] for s in split.values()], 3)
                hint = f"; near it: {', '.join(near)}" if near else ""
                faults.append(f"row {row['row_number']}, column 'region_code': no region '{pattern}' in the run{hint}")
            rows += [(row["branch_id"], place, share) for place in found]
    served = pd.DataFrame(rows, columns=["branch_id", "place", "share"])
    served = served.groupby(["branch_id", "place"], sort=True)["share"].sum().reset_index()
    whole = served.groupby("place")["share"].sum()
    faults += [f"{place} is served {part:.2f} times over; shares of a region add up to 1 at most"
               for place, part in whole.items() if part > 1 + 1e-9]  # fmt: skip
    if words.say("stock.central") in set(served["branch_id"]):
        faults.append(f"'{words.say('stock.central')}' is the name of the central store; call the branch otherwise")
    if faults:
        raise UsageError(f"{name}: {'; '.join(faults[:_SHOWN])}. Correct the file.")
    return served, [place for place in places if not whole.get(place, 0.0) > 1 - 1e-9]


def _fits(split: tuple[str, str], place: str, area: str, pattern: str) -> bool:
    """Whether a place lies in an area and fits a pattern with * and ?, case and blanks at the ends aside."""
    low = [text.lower() for text in (*split, place)]
    return fnmatchcase(low[0], area.strip().lower()) and (
        fnmatchcase(low[1], pattern.lower()) or fnmatchcase(low[2], pattern.lower())
    )


def terms(items: pd.DataFrame | None, branch: str, item_id: str, length_m: float) -> dict[str, object]:
    """What the items file tells of an item at a branch; the closest row wins: branch, then length, then any."""
    if items is None:
        return {}
    at = items[(items["item_id"] == item_id) & (items["branch_id"].isna() | (items["branch_id"] == branch))]
    at = at[at["length_piece_m"].isna() | ((at["length_piece_m"] - length_m).abs() < 0.02)]
    if not len(at):
        return {}
    rank = 2 * at["branch_id"].notna().astype(int) + at["length_piece_m"].notna().astype(int)
    merged: dict[str, object] = {}
    for row in at.assign(rank=rank).sort_values(["rank", "row_number"], kind="stable").to_dict("records"):
        merged |= {str(k): v for k, v in row.items() if not pd.isna(v)}
    return merged
