"""Write the public folder: a page, two tables as CSV, what was hidden and why."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import io, words
from pipeline.errors import UsageError
from pipeline.export.display import header
from pipeline.export.files import guarded
from pipeline.public.page import sections
from pipeline.public.tables import families, grid
from pipeline.report import page
from pipeline.report.facts import Facts
from pipeline.report.names import family
from pipeline.settings import Settings

FILES = ("index.html", "families.csv", "points.csv", "about.json")


def write_public(run: Path, out: Path, settings: Settings, units: str = "us", replace: bool = False) -> dict[str, Any]:
    """Write what of a run may be published into the folder ``out``.

    Parameters
    ----------
    run : Path
        Folder of a finished run.
    out : Path
        A folder of its own; refused where it lies in the run folder, holds it, or holds something else.
    settings : Settings
        Practice values wells_public_least, width_public and side_public.
    units : str
        ``us`` or ``metric``.

    Returns
    -------
    dict
        ``shown`` and ``hidden`` counts, ``squares`` and ``squares_hidden``.

    Raises
    ------
    UsageError
        When ``out`` cannot be taken.
    """
    run, out = Path(run), Path(out)
    here, there = out.resolve(), run.resolve()
    if here == there or there in here.parents or here in there.parents:
        raise UsageError(f"{out}: the public folder must lie apart from the run; the run holds every well.")
    if out.exists() and not out.is_dir():
        raise UsageError(f"{out} is a file; --out takes a folder.")
    if out.is_dir() and any(out.iterdir()):
        strange = sorted(path.name for path in out.iterdir() if path.name not in FILES)
        if strange:
            raise UsageError(f"{out} holds other things ({strange[0]}); choose an empty folder.")
        if not replace:
            raise UsageError(f"{out} holds a public folder; add --replace to write it again.")
    with Facts(run, units) as facts:
        by_family, squares = families(facts, settings), grid(facts, settings)
        content = page(sections(facts, by_family, squares, settings))
        length = facts.show(1.0, "length_m") or 1.0
    out.mkdir(parents=True, exist_ok=True)
    told = {
        "shown": int((~by_family["is_hidden"]).sum()), "hidden": int(by_family["is_hidden"].sum()),
        "squares": len(squares), "squares_hidden": squares.attrs["hidden"],
    }  # fmt: skip
    text = _csv(_readable(by_family, length, units))
    io.write_text(out / "families.csv", text)
    io.write_text(out / "points.csv", _csv(squares.round(6)))
    io.write_text(out / "index.html", content)
    io.write_json(out / "about.json", {
        "program": "wellstring", "rules": {k: settings.base(k) for k in ("wells_public_least", "width_public",
                                                                         "side_public")},
        "counts": told, "cautions": words.cautions(),
        "families_sha256": hashlib.sha256(text.encode()).hexdigest(),
    })  # fmt: skip
    return told


def _readable(table: pd.DataFrame, length: float, units: str) -> pd.DataFrame:
    """Headers in words, lengths in the reader's unit, hidden counts said to be hidden."""
    hidden = table["is_hidden"].to_numpy(bool)
    count = table["wells_count"].astype(object).where(~hidden, words.say("public.hidden"))
    return pd.DataFrame({
        header("region_level", units): table["region_level"],
        words.label("area_code"): guarded(table["area_code"]),
        words.label("region_code"): guarded(table["region_code"]),
        words.label("family_code"): [words.say("public.every") if code is None else family(code)
                                     for code in table["family_code"]],
        words.label("wells_count"): count,
        header("length_m", units): (table["length_m"] * length).round(),
    })  # fmt: skip


def _csv(table: pd.DataFrame) -> str:
    return table.to_csv(index=False, lineterminator="\n")
