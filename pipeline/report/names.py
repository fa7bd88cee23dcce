"""Plain names of pipes, items, checks and flags, from the declarations."""

from __future__ import annotations

import re
from functools import cache

from pipeline import schema, words

FAMILIES = ("pe", "pvc", "galvanised", "stainless", "pex")


@cache
def _options() -> dict[str, dict[str, str]]:
    return {row["option_id"]: row for row in schema.rows("options")}


def is_pipe(item: str) -> bool:
    """Whether an item is pipe: items of pipe carry the id of their option."""
    return item in _options()


def pipe(option: str | None) -> str:
    """A pipe as a buyer asks for it: size, material, class, joint."""
    row = _options().get(option or "")
    if row is None:
        return option or words.say("report.none")
    material = next((m["label"] for m in schema.rows("materials") if m["material_id"] == row["material_id"]), "")
    return f"{row['nominal_size']} {material}, {row['class_label']}, {row['joint_code']} ({row['standard']})"


def pipe_short(option: str | None) -> str:
    """A pipe without its standard, to stand beside a chart."""
    return pipe(option).rsplit(" (", 1)[0]


@cache
def _items() -> list[tuple[re.Pattern[str], str, str]]:
    """Patterns of item ids: a declared id may hold {family}, {joint} and be followed by a size."""
    out = []
    # a plain id before a pattern that would take it too
    for row in sorted(schema.rows("items"), key=lambda row: row["item_id"].count("{")):
        text = re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>[a-z0-9]+)", re.escape(row["item_id"]))
        key = "item." + re.sub(r"_?\{\w+\}", "", row["item_id"])
        out.append((re.compile(rf"{text}(?:-(?P<size>.+))?"), row["label"], key))
    return out


def family_of(option: str) -> str | None:
    """Family of a pipe option."""
    return _options().get(option, {}).get("family_code")


def item(item_id: str) -> str:
    """An item in words."""
    if is_pipe(item_id):
        return pipe(item_id)
    for pattern, declared, key in _items():
        match = pattern.fullmatch(item_id)
        if match:
            found, label = match.groupdict(), words.translated(key, declared)
            known = [family(found["family"]) if found.get("family") else "", found.get("joint") or ""]
            known.append(words.say("report.size", size=size(found["size"])) if found.get("size") else "")
            more = [part for part in known if part]
            return f"{label} ({', '.join(more)})" if more else label
    return item_id


@cache
def _inches() -> dict[str, str]:
    """Nominal sizes in inches by their short form, as in ``1.25`` for 1-1/4 in."""
    rows = _options().items()
    return {option.rsplit("-", 1)[-1]: r["nominal_size"] for option, r in rows if r["market_code"] == "us"}


def size(short: str) -> str:
    """A nominal size as the trade writes it, from its short form in an item id."""
    if short in _inches():
        return _inches()[short]
    return f"DN {short[2:]}" if short.startswith("dn") else f"{short} mm"


def by_length(item_id: str) -> bool:
    """Whether an item other than pipe is sold by the metre."""
    return any(row["item_id"] == item_id and row["sale_unit"] == "m" for row in schema.rows("items"))


def family(code: str | None) -> str:
    """A pipe family in words."""
    return words.codes("family").get(code or "", code or words.say("report.none"))


def check(code: str | None) -> str:
    """A check in words."""
    for row in schema.rows("checks"):
        if row["check_code"] == code:
            return words.translated(f"check.{code}", row["title"])
    return words.say("report.none") if code in (None, "none") else str(code)


def rule(code: str) -> dict[str, str]:
    """Title, action and the rest of a rule or flag; an unknown code is its own title."""
    for row in schema.rows("rules"):
        if row["code"] == code:
            told = {name: words.translated(f"rule.{code}.{name}", row[name]) for name in ("title", "action", "why")}
            return {**row, **told}
    if re.fullmatch(r"V[2-9]\d\d", code):  # one rule a number with a typical range, made from row V200
        places = list(schema.fields())
        place = int(code[1:]) - 201
        if 0 <= place < len(places):
            made = rule("V200")
            return {**made, "code": code, "title": f"{made['title']}: {words.label(places[place])}"}
    action = words.say(f"action.{code}") if words.says(f"action.{code}") else ""
    return {"code": code, "title": words.reason(code), "action": action, "why": "", "severity": ""}


def trouble(code: str) -> str:
    """The leading reason to look at a well, in words: a flag or an outcome."""
    outcomes = words.codes("outcome")
    return outcomes[code] if code in outcomes else rule(code)["title"]
