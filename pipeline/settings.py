"""Effective settings of a run: declared practice, the user's overlay, market, seed, draws.

A settings file is TOML. Every limit and default of practice.csv can be replaced there by id,
without touching code::

    market = "us"
    [practice.submergence]
    low = 15
    base = 25
    high = 60
    unit = "ft"
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from pipeline import schema
from pipeline.errors import UsageError
from pipeline.units import convert

_SI = {
    "ft": "m", "in": "m", "mm": "m", "m": "m", "gpm": "m**3/s", "L/min": "m**3/s", "psi": "Pa", "lb": "kg", "kg": "kg",
    "lb/ft": "kg/m", "kg/kW": "kg/W", "ft/s": "m/s", "degF": "degC", "degC": "degC", "degC/m": "degC/m",
    "gallon": "m**3", "L": "m**3", "ft**3": "m**3", "hp": "W", "h": "s", "mg/L": "mg/L", "kg/m**3": "kg/m**3",
    "year": "year",
    "": "",
}  # fmt: skip
_KNOWN = {"market", "practice", "prices", "regions", "overrides", "as_of", "draws", "seed", "horizon_years",
          "gate", "units", "accept_repairs", "local_rules", "households"}  # fmt: skip


@dataclass(frozen=True)
class Band:
    """Low, base and high of one practice value, in SI."""

    low: float
    base: float
    high: float


@dataclass(frozen=True, eq=False)
class Settings:
    """What a run was asked to do; written into the manifest as it stood.

    One object is one run: it is compared and hashed by identity, so that what is worked out from it once
    can be kept beside it.

    Attributes
    ----------
    market : str
        "us", "metric", or "" to take it from each source.
    draws, seed : int
        Draws a well for demand and robustness, and the key of the random numbers.
    units : str
        Units shown to people, "us" or "metric"; tables stay in SI.
    accept_repairs : tuple of str
        Codes of the repairs (``P101``) that the run uses; the others stay proposals.
    regions : Path or None
        GeoJSON file of polygons that name the region of a point; ``region_name`` is the property that holds the
        name, ``region_trust`` says whether ``record`` or ``polygon`` stands where the two differ.
    households : Path or None
        CSV of households on a well of their own by region; see ``demand.coverage``.
    limit : int or None
        Read at most so many records a table, for a trial.
    """

    market: str = ""
    units: str = ""
    draws: int = 32
    seed: int = 20250101
    as_of: str = ""
    limit: int | None = None
    layouts: tuple[Path, ...] = ()
    prices: Path | None = None
    local_rules: Path | None = None
    threads: int = 2
    chunk_wells: int = 32_768
    strict: bool = False
    gate_pages: bool = False
    practice_overlay: dict[str, dict[str, Any]] = field(default_factory=dict)
    overrides: dict[str, dict[str, Any]] = field(default_factory=dict)
    gate_overlay: dict[str, float] = field(default_factory=dict)
    accept_repairs: tuple[str, ...] = ()
    regions: Path | None = None
    region_name: str = ""
    region_trust: str = "record"
    households: Path | None = None

    @cached_property
    def practice(self) -> dict[str, Band]:
        """Practice values by id, in SI, the overlay applied."""
        declared = {row["practice_id"]: row for row in schema.rows("practice")}
        strange = set(self.practice_overlay) - set(declared)
        if strange:
            raise UsageError(f"Settings: no practice value is called {sorted(strange)}; see 'wellstring fields'.")
        out = {}
        for name, row in declared.items():
            given = self.practice_overlay.get(name, {})
            if not isinstance(given, dict) or set(given) - {"low", "base", "high", "unit"}:
                raise UsageError(f"Settings: practice '{name}' takes low, base, high and unit, and nothing else.")
            merged = {**row, **{k: str(v) for k, v in given.items()}}
            unit = merged["unit"]
            if unit not in _SI:
                raise UsageError(f"Settings: practice '{name}' has unit '{unit}', which is not understood.")
            try:
                numbers = [float(merged[k]) for k in ("low", "base", "high")]
            except ValueError as error:
                raise UsageError(f"Settings: practice '{name}': {error}; the unit goes into 'unit'.") from None
            values = convert(numbers, unit, _SI[unit])
            if not values[0] <= values[1] <= values[2]:
                raise UsageError(f"Settings: practice '{name}' must have low <= base <= high.")
            out[name] = Band(*(float(v) for v in values))
        return out

    def base(self, name: str) -> float:
        """Base value of one practice id, in SI."""
        return self.practice[name].base

    def to_manifest(self) -> dict[str, Any]:
        """What the manifest records; no path of this machine, nothing that changes from run to run."""
        return {
            "market": self.market, "units": self.units, "draws": self.draws, "seed": self.seed,
            "as_of": self.as_of, "limit": self.limit, "strict": self.strict,
            "layouts": [path.name for path in self.layouts],
            "prices": self.prices.name if self.prices else "prices.csv (invented demo list)",
            "local_rules": self.local_rules.name if self.local_rules else None,
            "practice_overlay": self.practice_overlay, "overrides": len(self.overrides),
            "gate": self.gate_overlay, "accept_repairs": list(self.accept_repairs),
            "regions": self.regions.name if self.regions else None, "region_trust": self.region_trust,
            "households": self.households.name if self.households else None,
        }  # fmt: skip


def load(path: Path | None, **given: Any) -> Settings:
    """Settings from a TOML file and the options given on the command line, which win.

    Raises
    ------
    UsageError
        When the file is not TOML, or holds a key that is not known.
    """
    found: dict[str, Any] = {}
    if path is not None:
        try:
            found = tomllib.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise UsageError(f"Settings file {path}: {error.strerror}.") from None
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise UsageError(f"Settings file {path.name}: {error}.") from None
    strange = set(found) - _KNOWN
    if strange:
        raise UsageError(f"Settings file {path}: unknown key {sorted(strange)}; known are {sorted(_KNOWN)}.")
    values: dict[str, Any] = {k: found[k] for k in ("market", "units", "as_of", "draws", "seed") if k in found}
    values["practice_overlay"] = dict(found.get("practice", {}))
    values["overrides"] = dict(found.get("overrides", {}))
    values["gate_overlay"] = dict(found.get("gate", {}))
    if path and "local_rules" in found:
        values["local_rules"] = (path.parent / str(found["local_rules"])).resolve()
    if path and "prices" in found:
        values["prices"] = (path.parent / found["prices"]).resolve()
    if path and "households" in found:
        values["households"] = (path.parent / str(found["households"])).resolve()
        if not values["households"].is_file():
            raise UsageError(f"{values['households'].name}: no such file of households.")
    if "horizon_years" in found:
        years = found["horizon_years"]
        values["practice_overlay"]["horizon"] = {"low": years, "base": years, "high": years}
    values |= _regions(found["regions"], path) if path and "regions" in found else {}
    values["accept_repairs"] = found.get("accept_repairs", "none")
    values.update({k: v for k, v in given.items() if v is not None})
    values["accept_repairs"] = repair_codes(values["accept_repairs"])
    if values.get("regions") and not values["regions"].is_file():
        raise UsageError(f"{values['regions']}: no such file of regions.")
    for name, allowed in (("market", ("", "us", "metric")), ("units", ("", "us", "metric"))):
        if values.get(name, "") not in allowed:
            raise UsageError(f"{name} is '{values[name]}'; write one of {[a for a in allowed if a]}.")
    return Settings(**values)


def _regions(given: Any, path: Path) -> dict[str, Any]:
    """Settings of regions: the name of a file, or a table with file, name and trust."""
    table = {"file": given} if isinstance(given, str) else given
    if not isinstance(table, dict) or set(table) - {"file", "name", "trust"} or not isinstance(table.get("file"), str):
        raise UsageError(f'Settings file {path.name}: regions is a file, or a table with file, name and trust.')
    trust = table.get("trust", "record")
    if trust not in ("record", "polygon"):
        raise UsageError(f"Settings file {path.name}: regions trust is '{trust}'; write record or polygon.")
    file = (path.parent / table["file"]).resolve()
    return {"regions": file, "region_name": str(table.get("name", "")), "region_trust": trust}


def repair_codes(given: Any) -> tuple[str, ...]:
    """Codes of repairs from ``none``, ``all``, a list, or codes with commas between.

    Raises
    ------
    UsageError
        Where a code is none of a repair that can be proposed.
    """
    known = sorted(row["code"] for row in schema.rows("rules") if row["applies_to"] == "repair")
    words = given.split(",") if isinstance(given, str) else given
    if not isinstance(words, (list, tuple)) or not all(isinstance(word, str) for word in words):
        raise UsageError(f'accept_repairs is {given!r}; write "none", "all" or codes such as "{",".join(known[:2])}".')
    codes = {word.strip().upper() for word in words if word.strip()}
    if codes == {"ALL"}:
        return tuple(known)
    codes -= {"NONE"} if codes == {"NONE"} else set()
    strange = sorted(codes - set(known))
    if strange:
        raise UsageError(f"accept_repairs: {', '.join(strange)} is no repair; write none, all, or some of "
                         f"{', '.join(known)}.")  # fmt: skip
    return tuple(sorted(codes))


def of_run(folder: Path, settings: Settings) -> tuple[Settings, dict[str, Any]]:
    """Settings of a finished run, with what cannot be kept in it (prices of the user) from ``settings``.

    Raises
    ------
    UsageError
        When the folder is no finished run.
    """
    path = folder / "manifest.json"
    if not path.is_file():
        raise UsageError(f"{folder} holds no finished run (no manifest.json).")
    manifest = json.loads(path.read_text(encoding="utf-8"))
    told = manifest["settings"]
    kept = replace(
        settings, market=told["market"], draws=told["draws"], seed=told["seed"], as_of=told["as_of"],
        practice_overlay=told["practice_overlay"], units=settings.units or told["units"],
    )  # fmt: skip
    ruled = settings.local_rules.name if settings.local_rules else None
    if told.get("local_rules") not in (None, ruled):
        raise UsageError(f"The run used the local rules '{told['local_rules']}', which it does not hold; "
                         "name that file in a settings file.")  # fmt: skip
    listed = settings.prices.name if settings.prices else None
    if not told["prices"].startswith("prices.csv (invented") and listed != told["prices"]:
        raise UsageError(
            f"The run was priced with '{told['prices']}', which it does not hold; name that list in a settings file."
        )
    return kept, manifest
