"""What is on sale and which rule asks how much of it: options, items, bill rules and prices joined once.

Everything is kept as small integer tables over (rule, option, situation), so that a million wells
are billed by array look-ups. A situation is one of the few distinct ways in which pump kind and use
decide which rules apply.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import schema
from pipeline.errors import SchemaError, UsageError
from pipeline.materials import cables
from pipeline.settings import Settings

COUNTABLE = ("each", "piece", "coil")
FEATURES = (
    "well", "joint", "joint_shallow", "joint_deep", "piece", "length_pipe", "depth_pump", "cable",
    "rope", "per_spacing_length", "per_spacing_depth", "bleach", "valve_between", "end_pair",
)  # fmt: skip
PRICE_COLUMNS = ("item_id", "price", "currency", "sale_unit")
_BY_GAUGE = "cable-{gauge}"
# outside diameter of NPS 1 pipe in mm, the size to which mass_kg_each of a sized item belongs
_DIAMETER_NPS_1_MM = 33.4


@dataclass(frozen=True)
class Rule:
    """One quantity rule: max(minimum, addition + factor * feature), rounded up for countable goods."""

    rule_id: str
    item_id: str
    feature: str
    factor: float
    addition: float
    spacing_m: float
    minimum: float
    is_countable: bool
    step: int = -1  # place of the gauge for which a cable rule speaks; -1 for every other rule

    @property
    def quantity_key(self) -> tuple[object, ...]:
        """Rules with the same key ask the same quantity of a well."""
        return (self.feature, self.factor, self.addition, self.spacing_m, self.minimum, self.is_countable,
                self.step)  # fmt: skip


def size_code(nominal: str) -> str:
    """Short form of a nominal size for item ids: ``1-1/4 in`` -> 1.25, ``32 mm`` -> 32, ``DN 32`` -> dn32."""
    text = nominal.strip().lower()
    inches = re.fullmatch(r"(?:(\d+)-)?(\d+)(?:/(\d+))? in", text)
    if inches:
        whole, top, bottom = inches.groups()
        value = (int(whole or 0) + int(top) / int(bottom)) if bottom else float(top)
        return f"{value:g}"
    return text.removesuffix(" mm").replace(" ", "")


def _words(text: str) -> frozenset[str] | None:
    """Set of the words of a pipe-separated cell; None stands for all."""
    return None if text == "*" else frozenset(text.split("|"))


def _number(text: str, settings: Settings, default: float = np.nan) -> float:
    """A number as written, or the base of the practice value of that name, in SI."""
    if not text:
        return default
    try:
        return float(text)
    except ValueError:
        if text not in settings.practice:
            raise SchemaError(f"bill_rules.csv, items.csv: '{text}' is no number and no practice value.") from None
        return settings.base(text)


@dataclass(frozen=True)
class Catalogue:
    """Goods, rules and prices of one run.

    Attributes
    ----------
    options : DataFrame, one row an option, in the order of options.csv; the option index counts it
    items : DataFrame, one row an item: item_id, label, kind, sale_unit, price, mass_kg
        Price and mass are per sale unit, per metre where ``sale_unit`` is m. NaN price: not listed.
    rules : tuple of Rule, in the order of the bill
    item_of : ndarray (rules, options, situations) of int32, the item asked for; -1 where none
    situation_of : ndarray (pump kinds, uses) of int8
    currency : str
    """

    options: pd.DataFrame
    items: pd.DataFrame
    rules: tuple[Rule, ...]
    item_of: NDArray[np.int32]
    situation_of: NDArray[np.int8]
    currency: str
    settings: Settings

    @cached_property
    def vector_of(self) -> NDArray[np.intp]:
        """For each rule its row in ``vectors``: rules that ask the same quantity of a well share one."""
        keys = list(dict.fromkeys(rule.quantity_key for rule in self.rules))
        return np.array([keys.index(rule.quantity_key) for rule in self.rules], np.intp)

    @cached_property
    def vectors(self) -> NDArray[np.float64]:
        """Distinct quantities, one a row: feature, factor, addition, spacing, minimum, is countable, step."""
        first = np.unique(self.vector_of, return_index=True)[1]
        return np.array([[float(FEATURES.index(str(key[0]))), *key[1:]] for key in
                         (self.rules[r].quantity_key for r in first)], dtype=np.float64)  # fmt: skip

    @cached_property
    def coils_m(self) -> NDArray[np.float64]:
        """Stock coil lengths, (options, most lengths), ascending, inf where there is none. [m]"""
        lengths = [[float(x) for x in text.split("|")] if text else [] for text in self.options["coil_lengths_m"]]
        out = np.full((len(lengths), max([1, *map(len, lengths)])), np.inf)
        for row, values in zip(out, lengths, strict=True):
            row[: len(values)] = sorted(values)
        return out

    @cached_property
    def coil_longest_m(self) -> NDArray[np.float64]:
        """Longest stock coil of each option, NaN for sticks. [m]"""
        finite = np.where(np.isfinite(self.coils_m), self.coils_m, -1.0).max(axis=1)
        return np.where(finite > 0, finite, np.nan)

    @cached_property
    def stick_m(self) -> NDArray[np.float64]:
        """Piece length of each option sold in sticks, NaN for coils. [m]"""
        sticks = pd.to_numeric(self.options["piece_length_m"], errors="coerce").to_numpy(float)
        return np.where(np.isnan(self.coil_longest_m), sticks, np.nan)

    @cached_property
    def slack(self) -> NDArray[np.float64]:
        """Cable slack of each option's family. [1]"""
        base = self.settings.base
        by_family = {"pe": base("slack_cable_pe"), "pex": base("slack_cable_pe"), "pvc": base("slack_cable_pvc")}
        return np.array([by_family.get(f, base("slack_cable_steel")) for f in self.options["family_code"]])

    @cached_property
    def market(self) -> NDArray[np.int64]:
        """Place of each option's market in cables.MARKETS."""
        return np.array([cables.MARKETS.index(code) for code in self.options["market_code"]], np.int64)

    @cached_property
    def index_of_option(self) -> pd.Index:
        """Option ids, to look an index up."""
        return pd.Index(self.options["option_id"].astype(object))

    def option_index(self, option_id: pd.Series) -> NDArray[np.int64]:
        """Index of each option id; -1 where missing or unknown."""
        return self.index_of_option.get_indexer(pd.Index(option_id.astype(object))).astype(np.int64)

    def situation(self, pump_kind_code: pd.Series, use_code: pd.Series) -> NDArray[np.int8]:
        """Situation of each well from its pump kind and use; a missing code counts as unknown."""
        picks = []
        for name, series in (("pump_kind", pump_kind_code), ("use", use_code)):
            known = pd.Index(list(schema.codes(name)), dtype=object)
            index = known.get_indexer(pd.Index(series.astype(object)))
            picks.append(np.where(index < 0, list(known).index("unknown"), index))
        return self.situation_of[picks[0], picks[1]]


def prices(settings: Settings) -> pd.DataFrame:
    """Price list of the run: the user's file where one is given, else the invented demo list.

    Raises
    ------
    UsageError
        When the file lacks a column, holds a price that is no positive number, the same item twice
        or more than one currency.
    """
    if settings.prices is None:
        found, name = list(schema.rows("prices")), "prices.csv"
    else:
        name = settings.prices.name
        try:
            found = schema.read_rows(settings.prices)
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError(f"Price list {settings.prices}: {error}.") from None
    # spreadsheets put a byte-order mark before the first heading
    found = [{str(key).lstrip("\ufeff").strip(): text for key, text in row.items()} for row in found]
    lacking = [c for c in PRICE_COLUMNS if not found or c not in found[0]]
    if lacking:
        raise UsageError(f"Price list {name}: column {lacking} is missing; the first line must name the columns.")
    frame = pd.DataFrame(found)[list(PRICE_COLUMNS)]
    told, line = frame["price"].astype(str), np.arange(2, len(frame) + 2)
    frame["price"] = pd.to_numeric(frame["price"], errors="coerce").astype(float)
    bad = ~(frame["price"] > 0) | ~np.isfinite(frame["price"])
    faults = [f"line {n}, column price: '{text}' of '{i}' is no number above 0"
              for n, text, i in zip(line[bad], told[bad], frame.loc[bad, "item_id"], strict=True)]  # fmt: skip
    for column in ("item_id", "currency", "sale_unit"):
        empty = frame[column].fillna("").astype(str).str.strip() == ""
        faults += [f"line {n}, column {column}: empty" for n in line[empty]]
    twice = frame["item_id"].duplicated()
    faults += [f"line {n}, column item_id: '{i}' stands twice"
               for n, i in zip(line[twice], frame.loc[twice, "item_id"], strict=True)]  # fmt: skip
    if len(set(frame["currency"])) > 1:
        faults.append(f"column currency: more than one currency: {sorted(set(map(str, frame['currency'])))}")
    if faults:
        more = f"; and {len(faults) - 10} more" if len(faults) > 10 else ""
        raise UsageError(f"Price list {name}: {'; '.join(faults[:10])}{more}. Correct the file.")
    return frame


def catalogue(settings: Settings, options: pd.DataFrame | None = None) -> Catalogue:
    """Join options, items, rules and prices into look-up tables.

    Parameters
    ----------
    options : DataFrame, optional
        Rows of options.csv, as text; all that are declared by default.

    Raises
    ------
    SchemaError
        When a rule names an item, a feature or a code that is not declared.
    UsageError
        When the price list is not usable.
    """
    if options is None:
        return _declared_catalogue(settings)
    return _joined(settings, options.reset_index(drop=True))


@lru_cache(maxsize=4)
def _declared_catalogue(settings: Settings) -> Catalogue:
    """Catalogue of the declared options, joined once for each settings object."""
    return _joined(settings, pd.DataFrame(list(schema.rows("options"))))


def _joined(settings: Settings, options: pd.DataFrame) -> Catalogue:
    declared = {row["item_id"]: row for row in schema.rows("items")}
    pumps, uses = list(schema.codes("pump_kind")), list(schema.codes("use"))
    raw = _one_a_gauge(schema.rows("bill_rules"))
    listed_options: list[dict[str, str]] = options.to_dict("records")  # type: ignore[assignment]
    wanted = np.array(
        [[[_in(p, row["pump_kinds"]) and _in(u, row["uses"]) for u in uses] for p in pumps] for row in raw]
    )
    kinds, situation_of = np.unique(wanted.reshape(len(raw), -1), axis=1, return_inverse=True)
    rules, item_rows = [], _pipe_items(options)
    position = {row["item_id"]: n for n, row in enumerate(item_rows)}
    item_of = np.full((len(raw), len(options), kinds.shape[1]), -1, np.int32)
    for r, row in enumerate(raw):
        template = row["item_id"].removesuffix("-{size}")
        if template not in ("{option}", _BY_GAUGE) and template not in declared:
            raise SchemaError(f"bill_rules.csv: rule '{row['rule_id']}': items.csv has no item '{template}'.")
        if row["feature"] not in FEATURES:
            raise SchemaError(f"bill_rules.csv: rule '{row['rule_id']}' names feature '{row['feature']}'.")
        step = int(row.get("step", -1))
        about = declared[cables.ladders()["us"][0]["item_id"]] if step >= 0 else declared.get(template)
        rules.append(_rule(row, about, settings))
        for o, option in enumerate(listed_options):
            if not (_in(option["family_code"], row["families"]) and _in(option["joint_code"], row["joints"])):
                continue
            ladder = cables.ladders()[option["market_code"]]
            if step >= len(ladder):
                continue
            cable = ladder[max(step, 0)]["item_id"]
            item_id = cable if step >= 0 else row["item_id"].format(
                option=option["option_id"], family=option["family_code"], joint=option["joint_code"],
                size=size_code(option["nominal_size"]),
            )  # fmt: skip
            about = declared.get(cable, about) if step >= 0 else about
            if item_id not in position:
                assert about is not None
                position[item_id] = len(item_rows)
                item_rows.append(_fitting(item_id, about, option, settings))
            item_of[r, o, kinds[r]] = position[item_id]
    listed = prices(settings)
    items = pd.DataFrame(item_rows).merge(
        listed.rename(columns={"sale_unit": "price_unit"})[["item_id", "price", "price_unit"]], on="item_id", how="left"
    )
    wrong = items.loc[items["price_unit"].notna() & (items["price_unit"] != items["sale_unit"])]
    if len(wrong):
        told = [f"column sale_unit: {i} is sold by {s}, priced by {p}" for i, s, p in
                wrong[["item_id", "sale_unit", "price_unit"]].head(5).itertuples(index=False)]  # fmt: skip
        raise UsageError(f"Price list: {'; '.join(told)}. Give the price for the unit of sale.")
    currency = str(listed["currency"].iloc[0])
    return Catalogue(
        options, items.drop(columns="price_unit"), tuple(rules), item_of,
        situation_of.reshape(len(pumps), len(uses)).astype(np.int8), currency, settings,
    )  # fmt: skip


def _one_a_gauge(rows: tuple[dict[str, str], ...]) -> list[dict[str, str]]:
    """Rules with the rule of the cable once for each gauge."""
    out = []
    for row in rows:
        is_cable = row["item_id"] == _BY_GAUGE
        out += [row | {"step": str(k)} for k in range(cables.steps())] if is_cable else [row]
    return out


def _in(code: str, cell: str) -> bool:
    words = _words(cell)
    return words is None or code in words


def _rule(row: dict[str, str], about: dict[str, str] | None, settings: Settings) -> Rule:
    unit = about["sale_unit"] if about else "piece"
    return Rule(
        row["rule_id"], row["item_id"], row["feature"], _number(row["factor"], settings, 1.0),
        _number(row["addition"], settings, 0.0), _number(row["spacing_m"], settings),
        _number(row["minimum"], settings, 0.0), unit in COUNTABLE, int(row.get("step", -1)),
    )  # fmt: skip


def _pipe_items(options: pd.DataFrame) -> list[dict[str, object]]:
    """Pipe as goods: one item an option, sold by the metre, taken in coils or sticks."""
    labels = options["family_code"].str.upper() + " " + options["class_label"] + ", " + options["nominal_size"]
    mass = pd.to_numeric(options["mass_kg_per_m"], errors="coerce")
    return [
        {"item_id": i, "label": label, "kind": "pipe", "family": f, "at_pull": "pipe", "sale_unit": "m", "mass_kg": m}
        for i, label, f, m in zip(options["option_id"], labels, options["family_code"], mass, strict=True)
    ]


def _fitting(
    item_id: str, about: dict[str, str], option: dict[str, str], settings: Settings
) -> dict[str, object]:
    """A fitting as goods; the mass of a sized one grows as the square of the outside diameter."""
    mass, label = _number(about["mass_kg_each"], settings), about["label"]
    if about["size_of"] == "option":
        mass *= (float(option["diameter_outside_mm"]) / _DIAMETER_NPS_1_MM) ** 2
        label = f"{label}, {option['nominal_size']}"
        if "{family}" in about["item_id"]:
            label = f"{label}, {schema.codes('family')[option['family_code']]} {option['joint_code']}"
    family = option.get("family_code", "") if "{family}" in about["item_id"] else ""
    return {"item_id": item_id, "label": label, "kind": about["kind"], "family": family, "at_pull": about["at_pull"],
            "sale_unit": about["sale_unit"], "mass_kg": round(mass, 4)}  # fmt: skip
