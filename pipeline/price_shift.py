"""What if the prices of pipe move: the wells of a finished run whose choice flips, and what keeping the old costs."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import io, schema
from pipeline.errors import UsageError
from pipeline.export import write_duckdb
from pipeline.materials import price_table
from pipeline.settings import Settings, of_run
from pipeline.sizing import choices, size

GROUPS = {"steel": ("galvanised", "stainless"), "resin": ("pe", "pvc", "pex")}
KEYS = ["source_id", "well_id"]


def shifts(texts: list[str]) -> dict[str, float]:
    """Price factor by family from texts such as ``pe=+20%`` or ``steel=-10%``.

    Raises
    ------
    UsageError
        When a text is not of that form, a family is unknown or stands twice, or a price would not stay above nought.
    """
    out: dict[str, float] = {}
    known = [*schema.codes("family"), *GROUPS]
    for text in texts:
        found = re.fullmatch(r"\s*([a-z_]+)\s*=\s*([+-]?\d+(?:\.\d+)?)\s*%\s*", text.lower())
        if not found or found[1] not in known:
            raise UsageError(f"--price '{text}' is not understood; write pe=+20%, with one of {', '.join(known)}.")
        factor = 1.0 + float(found[2]) / 100.0
        if not factor > 0:
            raise UsageError(f"--price '{text}' leaves no price above nought.")
        for family in GROUPS.get(found[1], (found[1],)):
            if family in out:
                raise UsageError(f"--price gives two shifts for {family}.")
            out[family] = factor
    return out


def _shifted(settings: Settings, factors: dict[str, float], folder: Path) -> Settings:
    """Settings with the price list moved: pipe by its family, fittings as they are."""
    table = price_table(settings).dropna(subset=["price"])
    family = {row["option_id"]: row["family_code"] for row in schema.rows("options")}
    by = table["item_id"].map(family).map(factors).fillna(1.0)
    table = table.assign(price=table["price"] * by)[["item_id", "price", "currency", "sale_unit"]]
    path = folder / "prices.csv"
    table.to_csv(path, index=False)
    return replace(settings, prices=path)


def shift_prices(
    run: Path, texts: list[str], out: Path, settings: Settings, replace_run: bool = False,
    tell: Callable[[str], None] = lambda line: None,
) -> dict[str, Any]:  # fmt: skip
    """Choose again under moved prices of pipe; write the table ``switch_wells`` of the wells whose option changes.

    Parameters
    ----------
    run, out : Path
        Folder of a finished run, and of the new state.
    texts : list of str
        As :func:`shifts` takes.

    Returns
    -------
    dict
        The manifest; ``scenario`` holds wells looked at, wells that switch, and wells by family before and after.

    Raises
    ------
    UsageError
        When the run is none, or a shift is not understood.
    """
    factors = shifts(texts)
    settings, manifest = of_run(run, settings)
    io.refuse_other_columns(("wells", "design", "selection"), run)
    io.prepare_folder(out, replace_run)
    family = {row["option_id"]: row["family_code"] for row in schema.rows("options")}
    frames, looked = [], 0
    try:
        with tempfile.TemporaryDirectory() as room:
            moved = replace(_shifted(settings, factors, Path(room)), draws=0)
            names = ("wells", "design", "selection")
            parts = zip(*(io.chunks(name, run, settings.chunk_wells) for name in names), strict=True)
            for wells, points, before in parts:
                looked += len(wells)
                old, new = before["option_id"].astype(object), choices(points, moved).astype(object)
                flips = (old.notna() & new.notna() & (old.to_numpy() != new.to_numpy())).to_numpy()
                if not flips.any():
                    continue
                again = size(points[flips].reset_index(drop=True), wells[flips].reset_index(drop=True), moved)
                found = again.selection[[*KEYS, "option_id", "family_code"]].merge(
                    before.loc[flips, [*KEYS, "area_code", "region_code", "use_code", "option_id"]].rename(
                        columns={"option_id": "option_before_id"}), on=KEYS)  # fmt: skip
                found["family_before_code"] = found["option_before_id"].map(family)
                lost = again.not_chosen[[*KEYS, "family_code", "cost_extra"]].rename(
                    columns={"family_code": "family_before_code"})  # fmt: skip
                frames.append(found.merge(lost, on=[*KEYS, "family_before_code"], how="left"))
        columns = [c.field.name for c in schema.table("switch_wells")]
        table = pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame({n: [] for n in columns})
        count = io.write_table("switch_wells", table, out)
        turned = table[table["family_before_code"] != table["family_code"]]
        pairs = turned.groupby(["family_before_code", "family_code"]).size().reset_index(name="wells")
        told = {
            "kind": "price", "factors": factors, "wells": looked, "switch": count, "switch_family": len(turned),
            "pairs": [{"before": old, "after": new, "wells": int(n)}
                      for old, new, n in zip(*(pairs[name] for name in pairs), strict=True)],
        }  # fmt: skip
        kept = ("program", "libraries", "python", "as_of", "inputs", "ledger", "not_read", "gate", "draws")
        document = {key: manifest[key] for key in kept} | {
            "settings": settings.to_manifest(), "scenario": told, "counts": {"switch_wells": count},
        }  # fmt: skip
        io.write_json(out / "manifest.json", document)
        write_duckdb(out)
    except BaseException:
        io.clear(out)
        raise
    (out / ".running").unlink(missing_ok=True)
    tell(f"scenario      {count:>12,} rows  wells whose pipe changes")
    return document


def lines(document: dict[str, Any]) -> list[str]:
    """What moved prices change, for people."""
    told = document["scenario"]
    moves = ", ".join(f"{name} {100 * (factor - 1):+.0f} %" for name, factor in told["factors"].items())
    out = [f"Price of pipe: {moves}. {told['switch']:,} of {told['wells']:,} wells take another pipe, "
           f"{told['switch_family']:,} of them of another family."]  # fmt: skip
    return out + [f"{pair['wells']:>9,}  {pair['before']} to {pair['after']}" for pair in told["pairs"]]
