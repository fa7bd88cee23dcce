"""Sections of the public page."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline import words
from pipeline.report import blocks, charts, names
from pipeline.report.facts import Facts, text
from pipeline.settings import Settings
from pipeline.units import convert

_WIDE = 640.0


def sections(
    facts: Facts, by_family: pd.DataFrame, squares: pd.DataFrame, settings: Settings
) -> list[dict[str, Any]]:
    """What the page says: how to read it, families by place, the map, what stands behind it."""
    least = text(settings.base("wells_public_least"))
    return [
        blocks.section("public_read", blocks.text("public.how", "public.not_shown", least=least),
                       as_of=facts.manifest.get("as_of") or "–"),
        blocks.section("public_families", _table(facts, by_family, "area"), _table(facts, by_family, "region")),
        blocks.section("public_map", _map(facts, squares), least=least, hidden=text(squares.attrs["hidden"])),
    ]  # fmt: skip


def _table(facts: Facts, table: pd.DataFrame, level: str) -> dict[str, Any]:
    """Wells of each place by family; a hidden count says so."""
    unit = facts.unit("length_m")
    here = table[table["region_level"].isin([level, "all"])]
    order = [f for f in names.FAMILIES if (here["family_code"] == f).any()]
    order += [f for f in sorted(set(here["family_code"].dropna())) if f not in order]
    place = "area_code" if level == "area" else "region_code"
    named = here.assign(place=here[place].fillna(""), family=here["family_code"].fillna("every"))
    count = named["wells_count"].astype(object).where(~named["is_hidden"], words.say("public.hidden"))
    told = [c if isinstance(c, str) else text(int(c)) for c in count]
    counts = named.assign(told=told).pivot_table(index="place", columns="family", values="told", aggfunc="first")
    totals = named[named["family"] == "every"].set_index("place")
    rows, foot = [], []
    for name in counts.index:
        length = totals["length_m"][name]
        line = [name or words.say("report.total"), counts["every"][name],
                *(counts[f][name] if isinstance(counts[f][name], str) else "0" for f in order),
                text(facts.show(None if pd.isna(length) else float(length), "length_m"))]  # fmt: skip
        if name:
            rows.append(line)
        else:
            foot = line
    headers = [words.label(place), words.say("report.wells"), *(names.family(f) for f in order),
               words.say("public.length", unit=unit)]  # fmt: skip
    return blocks.table(words.say(f"public.table.{level}"), headers, rows, numbers=range(1, len(headers)), foot=foot)


def _map(facts: Facts, squares: pd.DataFrame) -> dict[str, Any] | None:
    """Squares with enough wells, darker where there are more."""
    if squares.empty:
        return None
    side = squares.attrs["side_deg"]
    lat, lon = squares["latitude_deg"].to_numpy(), squares["longitude_deg"].to_numpy()
    wide = side * np.ceil(1.0 / np.maximum(np.cos(np.radians(lat)), 0.02))
    panel = charts.Panel(
        (lon - wide / 2).min(), (lon + wide / 2).max(), (lat - side / 2).min(), (lat + side / 2).max(), _WIDE
    )
    counts = squares["wells_count"].to_numpy(float)
    bounds = np.unique(np.ceil(np.quantile(counts, np.linspace(0, 1, len(charts.STEPS) + 1)[1:])))
    step = np.searchsorted(bounds, counts)
    shades = charts.STEPS[-len(bounds):]
    cells, lows = [], [counts.min(), *(bounds[:-1] + 1)]
    for k in range(len(bounds)):
        here = step == k
        path = "".join(
            f"M{x:.1f} {y:.1f}h{w:.1f}v{h:.1f}h-{w:.1f}z"
            for x, y, w, h in zip(
                panel.x(lon[here] - wide[here] / 2), panel.y(lat[here] + side / 2),
                wide[here] * panel.squeeze * panel.scale, np.full(here.sum(), side * panel.scale), strict=True,
            )
        )  # fmt: skip
        cells.append({"path": path, "colour": shades[k]})
    down, across = panel.graticule()
    unit = "mi" if facts.units == "us" else "km"
    metres = float(convert([1.0], "mile" if unit == "mi" else "km", "m")[0])
    value, bar = panel.scale_bar(metres)
    drawn = {
        "title": words.say("public.map.all"), "points": text(counts.sum()), "width": panel.width,
        "height": panel.height, "down": down, "across": across, "cells": cells, "bar": bar,
        "bar_text": f"{value:g} {unit}",
        "legend": [{"colour": shades[k], "name": f"{lows[k]:,.0f} … {bounds[k]:,.0f}"} for k in range(len(bounds))],
    }  # fmt: skip
    return blocks.figure("maps", words.say("public.map.title"), words.say("public.map.about"), [drawn])
