"""What-if on a finished run: its design points changed, sized again, and both states side by side."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import io, rng, schema, words
from pipeline.demand import roll_up
from pipeline.design_point.lowered import lower
from pipeline.errors import UsageError
from pipeline.export import write_exports
from pipeline.jurisdiction import judge
from pipeline.materials import Catalogue, added, bill, catalogue, draw_rows, draw_sums, settled
from pipeline.risk import flags
from pipeline.settings import Settings, of_run
from pipeline.sizing import size
from pipeline.sizing.draws import places
from pipeline.units import convert

# goods that a longer or a new string takes; pump, cable splice and wellhead stay
_STRING = ("coupling_",)
_Z10 = 1.2815515655446004  # normal deviate of the ninetieth percentile


def lower_water(
    run: Path, fall_m: float, out: Path, settings: Settings, replace_run: bool = False,
    tell: Callable[[str], None] = lambda line: None,
) -> dict[str, Any]:  # fmt: skip
    """A run after the water has fallen: pumps that must follow, pipe they take, and wells that cannot follow.

    Parameters
    ----------
    run : Path
        Folder of a finished run.
    fall_m : float
        Fall of the water table under every well. [m]
    out : Path
        Folder of the new state: tables ``lowering``, ``wells``, ``design``, ``selection``, ``not_chosen``, ``risks``,
        ``bill_lines`` and ``demand`` (cause ``lowered``: pipe and couplings to lower the pumps, nothing else).
    settings : Settings
        Units, and the price list where the run used one of the user's.

    Returns
    -------
    dict
        The manifest of the new state; ``scenario`` holds counts by outcome and the lengths.

    Raises
    ------
    UsageError
        When the run is none, or ``fall_m`` is no positive length.
    """
    if not 0 < fall_m <= 1000:
        raise UsageError("--lower-water takes a length above nought, such as \"10 m\" or \"30 ft\".")
    settings, manifest = of_run(run, settings)
    io.refuse_other_columns(("wells", "design", "selection"), run)
    io.refuse_folder(out, replace_run)
    io.prepare_folder(out, replace_run)
    try:
        told = _write(run, fall_m, out, settings, tell)
        document = {
            key: manifest[key] for key in ("program", "libraries", "python", "as_of", "inputs", "ledger", "not_read")
        }
        document |= {
            "settings": settings.to_manifest(), "draws": settings.draws, "scenario": told["scenario"],
            "counts": told["counts"], "gate": manifest["gate"],
        }  # fmt: skip
        io.write_json(out / "manifest.json", document)
        write_exports(out, settings)
    except BaseException:
        io.clear(out)
        if not any(out.iterdir()):
            out.rmdir()
        raise
    (out / ".running").unlink(missing_ok=True)
    return document


def _write(run: Path, fall_m: float, out: Path, settings: Settings, tell: Callable[[str], None]) -> dict[str, Any]:
    names = ("design", "selection", "not_chosen", "risks", "bill_lines", "local_rules", "lowering")
    goods = catalogue(settings)
    writers = {name: io.TableWriter(name, out) for name in names}
    sums: list[pd.DataFrame] = []
    shares: list[pd.DataFrame] = []
    for writer in writers.values():
        writer.__enter__()
    try:
        step = settings.chunk_wells
        parts = zip(*(io.chunks(name, run, step) for name in ("wells", "design", "selection")), strict=True)
        for wells, points, before in parts:
            after, moves = lower(points, fall_m, settings)
            sized = size(after, wells, settings)
            chosen = sized.selection.reset_index(drop=True)
            table = _side_by_side(wells, points, after, before, chosen, moves)
            billed = bill(chosen, after, settings)
            frames = {
                "design": after, "selection": chosen, "not_chosen": sized.not_chosen,
                "risks": flags(wells, after, chosen, settings, sized.changes),
                "bill_lines": billed, "lowering": table,
                "local_rules": judge(wells, after, chosen, billed, settings),
            }  # fmt: skip
            for name in names:
                writers[name].write(io.to_arrow(name, io.sorted_by_key(name, frames[name])))
            sums.append(_draws(table, after, settings, goods))
            shares.append(_counted(table))
    except BaseException as error:
        for writer in writers.values():
            writer.__exit__(type(error), error, None)
        raise
    for writer in writers.values():
        writer.__exit__(None, None, None)
    rows = settled(added(sums), goods)
    demand = roll_up(rows, settings, goods.currency, "lowered")
    counts = {name: writer.rows for name, writer in writers.items()}
    for part in io.parts("wells", run):  # the records are what they were
        target = out / part.relative_to(run)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(part, target)
    counts["wells"] = counts["design"]
    counts["demand"] = io.write_table("demand", demand, out)
    tell(f"scenario      {counts['wells']:>12,} rows  water lower by {fall_m:g} m")
    whole = pd.concat(shares).groupby(level=0, sort=True).sum()
    outcomes = {code: whole.loc[code].to_dict() for code in whole.index}
    return {"counts": counts, "scenario": {"kind": "lower_water", "fall_m": fall_m, "outcomes": outcomes}}


def _counted(table: pd.DataFrame) -> pd.DataFrame:
    """Wells, changed choices and lengths by outcome; lengths weighted as in demand."""
    weight = table["weight_inclusion_fraction"].to_numpy(float)
    flat = pd.DataFrame({
        "wells": 1, "choice_changes": table["choice_changes"].fillna(False).astype(int),
        **{f"length_added_m{end}": np.nan_to_num(table[f"length_added_m{end}"].to_numpy(float)) * weight
           for end in ("", "_low", "_high")},
    })  # fmt: skip
    return flat.groupby(table["lowering_code"].to_numpy(), sort=True).sum()


def _side_by_side(
    wells: pd.DataFrame, points: pd.DataFrame, after: pd.DataFrame, before: pd.DataFrame, chosen: pd.DataFrame,
    moves: pd.DataFrame,
) -> pd.DataFrame:  # fmt: skip
    """The table ``lowering``: what stood, what the fall asks for, what is chosen then."""
    keys = ["source_id", "well_id"]
    if not (before[keys].equals(wells[keys]) and points[keys].equals(wells[keys])):
        raise UsageError("The tables of the run do not hold the same wells; make the run again.")
    out = wells[[*keys, "area_code", "region_code", "use_code"]].copy()
    out["grade_code"] = points["grade_code"]
    out = pd.concat([out, moves], axis=1)
    for name in ("depth_pumping_m", "depth_pump_m", "length_drop_pipe_m", "head_total_dynamic_m"):
        old, new = (before, chosen) if name == "head_total_dynamic_m" else (points, after)
        out[f"{name.rsplit('_', 1)[0]}_before_m"], out[name] = old[name], new[name]
    out["depth_setting_max_m"] = after["depth_setting_max_m"]
    out["option_before_id"], out["option_id"] = before["option_id"], chosen["option_id"]
    both = before["option_id"].notna() & chosen["option_id"].notna()
    out["choice_changes"] = (before["option_id"] != chosen["option_id"]).where(both).astype("boolean")
    out["weight_inclusion_fraction"] = points["weight_inclusion_fraction"]
    return out[[c.field.name for c in schema.table("lowering")]]


def _draws(table: pd.DataFrame, after: pd.DataFrame, settings: Settings, goods: Catalogue) -> pd.DataFrame:
    """Pipe and couplings that lowering takes, by region and draw.

    Threaded and glued strings are lengthened by what is added. A coil is not spliced down the well: a well whose
    pump must follow takes a new coil, and so does one whose old pipe is no longer the choice.
    """
    region, found = places(table)
    option = goods.option_index(table["option_id"])
    stick = ~np.isnan(np.append(goods.stick_m, np.nan))[option]
    anew = ~stick | table["choice_changes"].fillna(False).to_numpy(bool)
    length, depth = table["length_drop_pipe_m"].to_numpy(float), table["depth_pump_m"].to_numpy(float)
    situation = goods.situation(after["pump_kind_code"], after["use_code"])
    milli = np.rint(table["weight_inclusion_fraction"].to_numpy(float) * 1000.0).astype(np.int64)
    well_key = rng.keys(list(table["source_id"].astype(str) + "\x1f" + table["well_id"].astype(str)))
    region_key = found["key"].to_numpy(np.uint64)
    base, low, high = (table[f"length_added_m{end}"].to_numpy(float) for end in ("", "_low", "_high"))
    room = np.maximum(table["depth_setting_max_m"].to_numpy(float) - (depth - base), 0.0)
    share = settings.base("spread_regional")
    rows = []
    for draw in range(settings.draws):
        z = np.sqrt(share) * rng.normal(settings.seed, "region/lowering", region_key, draw)[region]
        z = z + np.sqrt(1.0 - share) * rng.normal(settings.seed, "well/lowering", well_key, draw)
        more = np.clip(_within(z, base, low, high), 0.0, np.maximum(room, high))
        moved = (more > 0.01) & (option >= 0)
        bought = np.where(anew, length - base + more, more)
        sums = draw_sums(
            region, np.where(moved, option, -1), np.where(moved, bought, np.nan), depth - base + more, milli,
            situation, goods, len(found), after["power_motor_w"].to_numpy(float),
        )  # fmt: skip
        rows.append(draw_rows(sums, found, draw, goods))
    if not rows:
        return added([])
    whole = pd.concat(rows, ignore_index=True)
    is_pipe = whole["item_id"].isin(goods.options["option_id"])
    return whole[is_pipe | whole["item_id"].str.startswith(_STRING)]


def _within(
    z: NDArray[np.float64], base: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]
) -> NDArray[np.float64]:
    """A value moved within its band by a deviate; the ends are met at the tenth and ninetieth percentile."""
    return np.where(z < 0, base + z * (base - low) / _Z10, base + z * (high - base) / _Z10)


def lines(document: dict[str, Any], units: str) -> list[str]:
    """What a scenario found, for people: one line an outcome, the lengths, the caution."""
    told = document["scenario"]
    unit = "m" if units == "metric" else "ft"
    labels = schema.codes("lowering")

    def length(metres: float) -> str:
        return f"{convert(metres, 'm', unit).item():,.0f} {unit}"

    found = told["outcomes"]
    wells = sum(int(f["wells"]) for f in found.values())
    out = [words.say("scenario.water", fall=length(told["fall_m"]), wells=f"{wells:,}")]
    out += [f"{int(found[code]['wells']):>9,}  {label}" for code, label in labels.items() if code in found]
    base, low, high = (length(sum(f[f"length_added_m{end}"] for f in found.values())) for end in ("", "_low", "_high"))
    out.append(words.say("scenario.length", base=base, low=low, high=high))
    changed = sum(int(f["choice_changes"]) for f in found.values())
    out.append(words.say("scenario.choice", wells=f"{changed:,}"))
    return [*out, words.say("scenario.kept"), words.say("summary.caution")]
