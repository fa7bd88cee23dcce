"""Geometry of the charts; the template draws it. Nothing here knows what a chart is about.

Colours were chosen so that the five families stay apart in the three common forms of colour
blindness and in grey print; on maps each family has its own form as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

WIDTH = 720
LABEL = 250
ROW = 26
COLOURS = {"pe": "#0b6e8f", "pvc": "#e39b16", "galvanised": "#9aa5ad", "stainless": "#262b45", "pex": "#a5303a"}
# relative paths drawn from the middle of a point
SHAPES = {
    "pe": "m-2.6 0a2.6 2.6 0 1 0 5.2 0a2.6 2.6 0 1 0-5.2 0z",
    "pvc": "m-2.5-2.5h5v5h-5z",
    "galvanised": "m0-3.4l3.2 5.8h-6.4z",
    "stainless": "m0-3.6l3.6 3.6l-3.6 3.6l-3.6-3.6z",
    "pex": "m-3.1-1h2.1v-2.1h2v2.1h2.1v2h-2.1v2.1h-2v-2.1h-2.1z",
    "none": "m-2-2l4 4m0-4l-4 4",
}
NONE_COLOUR = "#6b6256"
STEPS = ("#e3eef0", "#b4d3da", "#7fb3c0", "#43899b", "#0b5a6f", "#062f3b")
BASIS = {"recorded": "#0b5a6f", "derived": "#6aa7b5", "neighbours": "#e6c27a", "assumed": "#b9b2a7"}


def colour(code: str | None) -> str:
    """Colour of a family."""
    return COLOURS.get(code or "", NONE_COLOUR)


def ticks(top: float, most: int = 5) -> list[float]:
    """Round numbers from zero up to at least ``top``."""
    if not top > 0:
        return [0.0, 1.0]
    raw = top / most
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * m for m in (1, 2, 2.5, 5, 10) if size * m >= raw * 0.999999)
    return [step * i for i in range(math.ceil(top / step - 1e-9) + 1)]


def shorten(text: str, most: int = 36) -> str:
    """Text cut to fit beside a bar; the table below has it whole."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def bars(rows: Sequence[tuple[str, float, str, str]]) -> dict[str, Any]:
    """Horizontal bars of (label, value, value as text, colour)."""
    top = max((value for _, value, _, _ in rows), default=0) or 1
    room = WIDTH - LABEL - 110
    drawn = [
        {
            "y": i * ROW,
            "w": round(max(value / top * room, 1 if value else 0), 1),
            "label": shorten(label),
            "text": text,
            "colour": fill,
        }
        for i, (label, value, text, fill) in enumerate(rows)
    ]
    return {"width": WIDTH, "height": max(len(rows), 1) * ROW, "x": LABEL, "bars": drawn}


def stacked(
    rows: Sequence[tuple[str, dict[str, float], str]], series: Sequence[tuple[str, str, str]]
) -> dict[str, Any]:
    """Bars of equal length cut by share: rows of (label, {code: value}, end text), series (code, name, colour)."""
    room = WIDTH - LABEL - 90
    drawn = []
    for i, (label, values, text) in enumerate(rows):
        total = sum(values.values()) or 1
        x, parts = 0.0, []
        for code, name, fill in series:
            w = values.get(code, 0) / total * room
            if w > 0:
                parts.append(
                    {
                        "x": round(LABEL + x, 1),
                        "w": round(w, 1),
                        "colour": fill,
                        "text": f"{label}: {name} {values.get(code, 0) / total:.0%}",
                    }
                )
            x += w
        drawn.append({"y": i * ROW, "label": shorten(label), "parts": parts, "text": text})
    return {
        "width": WIDTH,
        "height": max(len(rows), 1) * ROW,
        "x": LABEL,
        "room": room,
        "rows": drawn,
        "legend": [{"name": name, "colour": fill} for _, name, fill in series],
    }


def ranges(rows: Sequence[tuple[str, float, float, float, str]], text: Any) -> dict[str, Any]:
    """Lines from low to high with a dot between: rows of (label, low, middle, high, colour)."""
    marks = ticks(max((row[3] for row in rows), default=0))
    label = LABEL + 60
    room, top = WIDTH - label - 40, marks[-1] or 1
    drawn = [
        {
            "y": i * ROW,
            "label": shorten(name, 54),
            "colour": fill,
            "x1": round(label + low / top * room, 1),
            "x2": round(label + middle / top * room, 1),
            "x3": round(label + high / top * room, 1),
        }
        for i, (name, low, middle, high, fill) in enumerate(rows)
    ]
    axis = [{"x": round(label + mark / top * room, 1), "text": text(mark)} for mark in marks]
    return {"width": WIDTH, "height": max(len(rows), 1) * ROW + 24, "x": label, "rows": drawn, "axis": axis}


def box_of(box: dict[str, Any]) -> tuple[float, float, float, float]:
    """West, east, south, north of a map: of all points, or of the bulk where a few lie far off."""
    wide, high = box["east"] - box["west"], box["north"] - box["south"]
    if box["east_most"] - box["west_most"] <= 1.6 * wide and box["north_most"] - box["south_most"] <= 1.6 * high:
        return box["west_most"], box["east_most"], box["south_most"], box["north_most"]
    return box["west"], box["east"], box["south"], box["north"]


class Panel:
    """One map: a box of degrees in equal aspect at its middle latitude, drawn into a given width."""

    def __init__(self, west: float, east: float, south: float, north: float, width: float):
        pad = max((east - west) * 0.03, (north - south) * 0.03, 0.002)
        self.west, self.south = west - pad, south - pad
        self.east, self.north = east + pad, north + pad
        self.squeeze = math.cos(math.radians((south + north) / 2)) or 1.0
        wide, high = (self.east - self.west) * self.squeeze, self.north - self.south
        most = width * 0.95
        self.scale = min(width / wide, most / high)
        self.width, self.height = round(wide * self.scale, 1), round(high * self.scale, 1)

    def x(self, lon: Any) -> Any:
        """Place of a longitude from the left."""
        return (lon - self.west) * self.squeeze * self.scale

    def y(self, lat: Any) -> Any:
        """Place of a latitude from the top."""
        return (self.north - lat) * self.scale

    def graticule(self) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        """Meridians and parallels at round degrees: (vertical lines, horizontal lines)."""
        step = ticks(max(self.east - self.west, self.north - self.south), 4)[1]
        places = max(0, -math.floor(math.log10(step) + 1e-9))

        def lines(low: float, high: float, at: Any, signs: str) -> list[dict[str, Any]]:
            first, last = math.ceil(low / step), math.floor(high / step)
            return [
                {
                    "at": round(float(at(k * step)), 1),
                    "text": f"{abs(k * step):.{places}f}° {signs[0] if k >= 0 else signs[1]}",
                }
                for k in range(first, last + 1)
            ]

        return lines(self.west, self.east, self.x, "EW"), lines(self.south, self.north, self.y, "NS")

    def scale_bar(self, metres_of_unit: float) -> tuple[float, float]:
        """Length in units of a round scale bar of about a quarter of the width, and its length drawn."""
        per_degree = 111_195.0  # metres of a degree on a sphere of 6,371 km
        metres = self.width / self.scale * per_degree / 4
        value = ticks(metres / metres_of_unit, 1)[-1]
        while value * metres_of_unit / per_degree * self.scale > self.width * 0.45:
            value /= 2
        return value, round(value * metres_of_unit / per_degree * self.scale, 1)
