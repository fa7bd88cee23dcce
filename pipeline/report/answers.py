"""Middle sections of the report: what the wells need, where they lie, what material that is."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline import words
from pipeline.report import blocks, charts, names
from pipeline.report.facts import Facts, share, text
from pipeline.units import convert

MOST_POINTS = 5_000
MOST_PANELS = 6


def _in_order(counts: dict[str, int]) -> list[str]:
    """Families in the fixed order of the charts; unknown ones after them."""
    return [f for f in names.FAMILIES if f in counts] + sorted(set(counts) - set(names.FAMILIES))


def families(facts: Facts) -> dict[str, Any]:
    """Families by share, sizes, regions."""
    rows = facts.rows("families")
    wells = sum(row["wells"] for row in rows)
    by_code = {row["code"]: row for row in rows}
    unit, order = facts.unit("length_m"), _in_order({row["code"]: 0 for row in rows})
    drawn = charts.bars(
        [
            (
                names.family(c),
                by_code[c]["wells"],
                f"{text(by_code[c]['wells'])}  ({share(by_code[c]['wells'], wells)})",
                charts.colour(c),
            )
            for c in order
        ]
    )
    family_table = blocks.table(
        words.say("report.families.table"),
        [
            words.label("family_code"),
            words.say("report.wells"),
            words.say("report.share"),
            words.say("report.families.length", unit=unit),
            words.say("report.families.head", unit=unit),
            words.say("report.families.unsure"),
        ],
        [
            [
                names.family(c),
                text(r["wells"]),
                share(r["wells"], wells),
                text(facts.show(r["length_m"], "length_m")),
                text(facts.show(r["head_m"], "head_total_dynamic_m")),
                share(r["unsure"], r["wells"]),
            ]
            for c in order
            for r in [by_code[c]]
        ],
        numbers=(1, 2, 3, 4, 5),
        foot=[words.say("report.total"), text(wells), "", "", "", ""],
        marks=[charts.colour(c) for c in order],
    )
    pipes = facts.rows("pipes")
    some, note = blocks.some(pipes, 20)
    pipe_table = blocks.table(
        words.say("report.families.pipes"),
        [
            words.label("option_id"),
            words.label("family_code"),
            words.say("report.wells"),
            words.say("report.share"),
            words.say("report.families.length", unit=unit),
        ],
        [
            [
                names.pipe(r["option_id"]),
                names.family(r["family_code"]),
                text(r["wells"]),
                share(r["wells"], wells),
                text(facts.show(r["length_m"], "length_m")),
            ]
            for r in some
        ],
        numbers=(2, 3, 4),
        note=note,
        marks=[charts.colour(r["family_code"]) for r in some],
    )
    return blocks.section(
        "families",
        blocks.figure("bars", words.say("report.families.figure"), words.say("report.families.about"), drawn),
        family_table,
        pipe_table,
        *_by_region(facts, order),
        wells=text(wells),
    )


def _by_region(facts: Facts, order: list[str]) -> list[dict[str, Any]]:
    counts: dict[str, dict[str, float]] = {}
    for row in facts.rows("families_by_region"):
        counts.setdefault(row["region"], {})[row["code"]] = row["wells"]
    regions = sorted(counts, key=lambda region: (-sum(counts[region].values()), region))
    series = [(c, names.family(c), charts.colour(c)) for c in order]
    drawn = charts.stacked([(r, counts[r], text(sum(counts[r].values()))) for r in regions[:14]], series)
    some, note = blocks.some(regions, 40)
    lengths = {row["region"]: row for row in facts.rows("lengths")}
    unit = facts.unit("length_m")
    cells = [
        [
            r,
            text(sum(counts[r].values())),
            *(text(counts[r].get(c, 0)) for c in order),
            *(text(facts.show(lengths[r][f"{k}_m"], "length_m")) for k in ("low", "base", "high")),
        ]
        for r in some
    ]
    whole = [sum(row[f"{k}_m"] or 0 for row in lengths.values()) for k in ("low", "base", "high")]
    by_family = [text(sum(int(counts[r].get(c, 0)) for r in regions)) for c in order]
    return [
        blocks.figure(
            "stacked", words.say("report.families.regions"), words.say("report.families.regions_about"), drawn
        ),
        blocks.table(
            words.say("report.families.regions_table", unit=unit),
            [
                words.label("region_code"),
                words.say("report.wells"),
                *(names.family(c) for c in order),
                *(words.say(f"report.length.{k}", unit=unit) for k in ("low", "base", "high")),
            ],
            cells,
            numbers=range(1, 5 + len(order)),
            note=note,
            foot=[
                words.say("report.total"),
                text(sum(sum(v.values()) for v in counts.values())),
                *by_family,
                *(text(facts.show(v, "length_m")) for v in whole),
            ],
        ),
    ]


def places(facts: Facts) -> dict[str, Any]:
    """Where the wells lie: one map a source, single points or, past some thousand, counts in squares."""
    boxes = facts.rows("point_boxes")
    some = [box for box in boxes if box["points"]][:MOST_PANELS]
    panels = [_panel(facts, box, 440.0 if len(some) > 1 else 680.0) for box in some]
    cells = [
        [b["source_id"], text(b["wells"]), text(b["points"]), share(b["points"], b["wells"]), _box(b)] for b in boxes
    ]
    headers = [
        words.label("source_id"),
        words.say("report.wells"),
        words.say("report.places.points"),
        words.say("report.share"),
        words.say("report.places.box"),
    ]
    block = (
        blocks.figure("maps", words.say("report.places.figure"), words.say("report.places.about"), panels)
        if panels
        else None
    )
    return blocks.section(
        "places", block, blocks.table(words.say("report.places.table"), headers, cells, numbers=(1, 2, 3))
    )


def _box(box: dict[str, Any]) -> str:
    if box["west"] is None:
        return "–"
    return f"{box['south']:.2f}° … {box['north']:.2f}°, {box['west']:.2f}° … {box['east']:.2f}°"


def _panel(facts: Facts, box: dict[str, Any], width: float) -> dict[str, Any]:
    panel = charts.Panel(*charts.box_of(box), width)
    unit = "mi" if facts.units == "us" else "km"
    bar, drawn = panel.scale_bar(float(convert([1.0], unit, "m")[0]))
    down, across = panel.graticule()
    out: dict[str, Any] = {
        "title": box["source_id"],
        "points": text(box["points"]),
        "width": panel.width,
        "height": panel.height,
        "down": down,
        "across": across,
        "bar": drawn,
        "bar_text": f"{bar:g} {unit}",
    }
    if box["points"] > MOST_POINTS:
        return out | _density(facts, box["source_id"], panel)
    found = facts.arrays("points")
    own = found["source_id"] == box["source_id"]
    lon, lat, family = found["lon"][own].astype(float), found["lat"][own].astype(float), found["family_code"][own]
    inside = (lon >= panel.west) & (lon <= panel.east) & (lat >= panel.south) & (lat <= panel.north)
    blank = np.ma.getmaskarray(family)
    kinds = np.where(blank, "none", np.ma.getdata(family).astype(object)).astype(str)
    layers = []
    for code in ["none", *names.FAMILIES]:
        mask = inside & (kinds == code)
        if mask.any():
            shape = charts.SHAPES[code]
            path = "".join(
                f"M{x:.1f} {y:.1f}{shape}" for x, y in zip(panel.x(lon[mask]), panel.y(lat[mask]), strict=True)
            )
            layers.append(
                {
                    "path": path,
                    "colour": charts.colour(code),
                    "stroke": code == "none",
                    "shape": shape,
                    "name": names.family(code) if code != "none" else words.say("report.places.no_pipe"),
                    "wells": text(int(mask.sum())),
                }
            )
    return out | {"layers": layers, "outside": int((~inside).sum())}


def _density(facts: Facts, source: str, panel: charts.Panel) -> dict[str, Any]:
    side = 7.0
    step_lon, step_lat = side / panel.scale / panel.squeeze, side / panel.scale
    cells = facts.rows(
        "grid",
        source=source,
        west=panel.west,
        east=panel.east,
        south=panel.south,
        north=panel.north,
        step_lon=step_lon,
        step_lat=step_lat,
    )
    counts = [cell["wells"] for cell in cells] or [1]
    low, ratio, steps = min(counts), max(counts) / min(counts), len(charts.STEPS)
    # bounds in equal ratios, as counts spread over orders of magnitude
    bounds = sorted({*(round(low * ratio ** (i / steps)) for i in range(1, steps)), max(counts)})
    paths: dict[int, list[str]] = {}
    for cell in cells:
        step = next(i for i, bound in enumerate(bounds) if cell["wells"] <= bound)
        x, y = cell["column_number"] * side, panel.height - (cell["row_number"] + 1) * side
        paths.setdefault(step, []).append(f"M{x:.0f} {y:.1f}h{side:.0f}v{side:.0f}h-{side:.0f}z")
    shades = charts.STEPS[-len(bounds) :]
    lows = [low, *(bound + 1 for bound in bounds[:-1])]
    legend = [
        {"colour": shades[i], "name": f"{lows[i]:,} … {bound:,}" if lows[i] < bound else f"{bound:,}"}
        for i, bound in enumerate(bounds)
    ]
    return {"cells": [{"path": "".join(paths[i]), "colour": shades[i]} for i in sorted(paths)], "legend": legend}


def material(facts: Facts) -> dict[str, Any]:
    """Material of the run and by region, with the spread of the draws."""
    rows = facts.rows("material")
    pipes = [row for row in rows if names.is_pipe(row["item_id"])]
    goods = [row for row in rows if not names.is_pipe(row["item_id"])]
    unit, currency = facts.unit("length_m"), facts.currency()
    cost = words.say("report.material.cost", currency=currency)

    def length(row: dict[str, Any], key: str) -> float | None:
        return facts.show(row[f"length_m_{key}"], "length_m")

    def line(row: dict[str, Any]) -> list[str]:
        return [
            names.item(row["item_id"]),
            text(row["wells_count"]),
            *(text(length(row, k)) for k in ("expected", "p10", "p50", "p90")),
            text(row["pieces_expected"]),
            text(row["cost_expected"]),
        ]

    spread = [words.say(f"report.material.{k}", unit=unit) for k in ("expected", "p10", "p50", "p90")]
    some, note = blocks.some(pipes, 25)
    drawn = charts.ranges(
        [
            (
                names.pipe_short(r["item_id"]),
                length(r, "p10") or 0.0,
                length(r, "p50") or 0.0,
                length(r, "p90") or 0.0,
                charts.colour(names.family_of(r["item_id"])),
            )
            for r in pipes[:14]
        ],
        text,
    )
    pipe_table = blocks.table(
        words.say("report.material.pipe"),
        [words.label("item_id"), words.say("report.wells"), *spread, words.say("report.material.pieces"), cost],
        [line(row) for row in some],
        numbers=range(1, 8),
        note=note,
        marks=[charts.colour(names.family_of(r["item_id"])) for r in some],
    )

    def amount(row: dict[str, Any], key: str) -> float | None:
        """Quantity as sold; what is sold by the metre in the reader's unit of length."""
        sold = row[f"pieces_{key}"]
        return facts.show(sold, "length_m") if names.by_length(row["item_id"]) else sold

    more, more_note = blocks.some(sorted(goods, key=lambda r: (-(r["cost_expected"] or 0), r["item_id"])), 30)
    goods_table = blocks.table(
        words.say("report.material.goods"),
        [
            words.label("item_id"),
            words.say("report.wells"),
            *(
                words.say(f"report.material.{k}", unit=words.say("report.material.sold"))
                for k in ("expected", "p10", "p50", "p90")
            ),
            cost,
        ],
        [
            [
                names.item(r["item_id"]) + (f" [{unit}]" if names.by_length(r["item_id"]) else ""),
                text(r["wells_count"]),
                *(text(amount(r, k)) for k in ("expected", "p10", "p50", "p90")),
                text(r["cost_expected"]),
            ]
            for r in more
        ],
        numbers=range(1, 7),
        note=more_note,
    )
    by_region = [row for row in facts.rows("material_by_region") if names.is_pipe(row["item_id"])]
    top, region_note = blocks.some(by_region, 25)
    region_table = blocks.table(
        words.say("report.material.regions"),
        [words.label("region_code"), words.label("item_id"), words.say("report.wells"), *spread, cost],
        [
            [
                r["region_code"],
                names.item(r["item_id"]),
                text(r["wells_count"]),
                *(text(length(r, k)) for k in ("expected", "p10", "p50", "p90")),
                text(r["cost_expected"]),
            ]
            for r in top
        ],
        numbers=range(2, 8),
        note=region_note,
        marks=[charts.colour(names.family_of(r["item_id"])) for r in top],
    )
    known = [row["cost_expected"] for row in rows if row["cost_expected"] is not None]
    tail = "report.material.cost_some" if len(known) < len(rows) else "report.material.cost_all"
    figure = blocks.figure(
        "ranges", words.say("report.material.figure", unit=unit), words.say("report.material.about"), drawn
    )
    return blocks.section(
        "material",
        figure if pipes else None,
        pipe_table,
        goods_table if goods else None,
        region_table,
        cost=words.say(tail, cost=text(sum(known)), currency=currency)
        if known
        else words.say("report.material.cost_none"),
    )
