"""What the values of a column say for or against a field."""

from __future__ import annotations

import math

import numpy as np

from pipeline import schema
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.code_words import MOST_KINDS, code_of
from pipeline.ingest.proposal.meaning import weight
from pipeline.ingest.proposal.model import Evidence
from pipeline.ingest.proposal.unit_evidence import choices, convertible, nominal_share, shapes, size_odds

_LISTS = {"use_code": "use", "status_code": "status", "pump_kind_code": "pump_kind",
          "material_drop_pipe_code": "pipe_material", "test_method_code": "test_method"}  # fmt: skip
_FEW_KINDS = 60
_FEW_HITS = 0.05
_MOST_DECIMALS = 7.0


def _said(name: str, text: str, factor: float = 1.0) -> Evidence:
    return Evidence("values", text, weight(name) * factor)


def evidence(name: str, profile: Cells, unit: str) -> list[Evidence]:
    """Reasons from the values of a column for taking it as a field; ``unit`` where one is written."""
    if not profile.filled:
        return [_said("no_values", "no cell is filled")]
    declared = schema.fields()[name]
    if name in ("latitude_deg", "longitude_deg"):
        return _degrees(name, profile)
    if declared.type == "number":
        return _number(name, profile, unit)
    if declared.type == "date":
        return _date(profile)
    if declared.type == "boolean":
        good = profile.yes_no >= 0.7
        return [_said("yes_no" if good else "not_yes_no", f"{profile.yes_no:.0%} of cells are yes or no")]
    if declared.type == "code":
        return _code(name, profile)
    if name == "well_id":
        return _identity(profile)
    if name in ("region_code", "area_code"):
        many = profile.distinct > max(0.7 * profile.filled, 3) and profile.filled > 20
        reasons = [_said("codes_many", "nearly every text differs")] if many else []
        if profile.numeric > 0.9 and profile.decimals > 0.5:
            reasons.append(_said("codes_numeric", "cells are numbers with decimals"))
        if profile.yes_no > 0.9 and profile.distinct > 1:
            reasons.append(_said("codes_many", "cells are yes or no"))
        return reasons
    return []


def _number(name: str, profile: Cells, unit: str) -> list[Evidence]:
    if profile.numeric < 0.5 or (profile.dates > 0.5) or profile.angles > 0.5:
        return [_said("not_numeric", f"only {profile.numeric:.0%} of cells are numbers")]
    out = []
    if profile.numeric >= 0.9:
        out.append(_said("numeric", f"{profile.numeric:.0%} of {profile.filled} cells are numbers"))
    if name.endswith("_count") and profile.whole < 0.9 * profile.numeric:
        out.append(_said("unlikely_size", "values are no whole numbers", 2.0))
    if profile.decimals > _MOST_DECIMALS and name.startswith(("depth", "drawdown", "length")):
        out.append(_said("calculated", f"{profile.decimals:.0f} decimals: values look calculated"))
    if profile.numeric < 0.75:
        out.append(_said("not_numeric", f"only {profile.numeric:.0%} of cells are numbers", 0.3))
    if not math.isfinite(profile.median):
        return out
    declared = schema.fields()[name]
    tried = [unit] if unit else [c.unit for c in choices(shapes()[name].measure)] if name in shapes() else [""]
    inside = []
    for candidate in tried:
        if candidate:
            low, middle, high = convertible(profile, candidate, name)
        else:
            low, middle, high = profile.p05, profile.median, profile.p95
        good = not (declared.hard_min is not None and low < declared.hard_min)
        good &= not (declared.hard_max is not None and high > declared.hard_max)
        usual = (declared.typical_min is None or middle >= declared.typical_min) and (
            declared.typical_max is None or middle <= declared.typical_max
        )
        size = size_odds(profile, candidate, name) if candidate else 0.0
        inside.append((good, usual, size))
    if not any(good for good, _, _ in inside):
        return [*out, _said("out_of_range", f"values from {profile.p05:g} to {profile.p95:g} are outside the range")]
    if not any(good and usual for good, usual, _ in inside):
        return [*out, _said("unlikely_size", f"a median of {profile.median:g} is unusual")]
    best = max(size for good, usual, size in inside if good and usual)
    if name == "diameter_casing_inside_m" and profile.filled >= 8:
        sizes = max((nominal_share(profile, c.nominal) for c in choices("bore")), default=0.0)
        if sizes >= 0.8:
            out.append(_said("bore_sizes", f"{sizes:.0%} of values are nominal sizes of casing"))
    odds = weight("in_range") + max(best, weight("unlikely_size"))
    out.append(Evidence("values", f"median {profile.median:g}", odds))
    if profile.years > 0.9 and profile.decimals < 0.1 and profile.distinct > 3 and name.startswith(("depth", "flow")):
        out.append(_said("unlikely_size", "values are years", 2.0))
    return out


def _degrees(name: str, profile: Cells) -> list[Evidence]:
    if profile.angles > 0.5:
        return [_said("degrees", "cells are degrees, minutes and seconds", 0.5)]
    most = 90.0 if name == "latitude_deg" else 180.0
    if profile.numeric < 0.5 or not math.isfinite(profile.median):
        return [_said("not_degrees", "cells are no numbers")]
    values = profile.numbers[np.isfinite(profile.numbers) & (profile.numbers != 0)]
    inside = float((np.abs(values) <= most).mean()) if len(values) else 0.0
    if len(values) and float(np.median(np.abs(values))) > 1000.0:
        return [_said("projected", "values are metres of a projection")]
    if inside < 0.9:
        return [_said("not_degrees", f"{1 - inside:.0%} of the values are no degrees")]
    return [_said("degrees" if profile.decimals >= 1.5 else "numeric", f"{inside:.0%} of values lie within {most:g}°")]


def _date(profile: Cells) -> list[Evidence]:
    share = max(profile.dates, profile.packed, profile.years, profile.epoch)
    share = max(share, min(1.0, profile.dates + profile.years + profile.packed))
    if share < 0.5 and profile.serial > 0.9:
        return [_said("dates", "cells are day counts of a spreadsheet", 0.5)]
    if share < 0.5:
        return [_said("no_dates", f"only {share:.0%} of cells are dates")]
    if profile.years > 0.8:
        return [_said("years_only", f"{profile.years:.0%} of cells are years")]
    return [_said("dates", f"{share:.0%} of cells are dates", share)]


def share_of_codes(profile: Cells, listed: str) -> float:
    """Share of the cells that are spellings of a code list or hold its words, by kinds of text where they are few."""
    hits = profile.codes.get(listed, 0.0)
    if listed and hits < 0.9 and profile.letters > 0.5 and profile.distinct <= MOST_KINDS:
        # by kinds of text, since how often each occurs is not kept
        kinds = list(dict.fromkeys(profile.texts))
        spelled = schema.spellings(listed)
        known = (" ".join(t.lower().split()) in spelled or bool(code_of(t, listed)) for t in kinds)
        hits = max(hits, sum(known) / max(len(kinds), 1))
    return hits


def _code(name: str, profile: Cells) -> list[Evidence]:
    listed = _LISTS.get(name, "")
    hits = share_of_codes(profile, listed)
    out = []
    if (hits >= 0.3 and profile.letters + profile.yes_no > 0.0) or hits >= 0.6:
        out.append(_said("codes_known", f"{hits:.0%} of cells are known spellings", min(1.0, 0.4 + hits)))
    if profile.numeric > 0.9 and hits < 0.5:
        out.append(_said("codes_numeric", "cells are numbers"))
    if profile.dates > 0.5:
        out.append(_said("no_dates", "cells are dates"))
    if profile.distinct > _FEW_KINDS and profile.unique_share > 0.5 and hits < 0.5:
        out.append(_said("codes_many", "nearly every text differs"))
    elif hits < _FEW_HITS and profile.numeric <= 0.9 and profile.letters > 0.5:
        out.append(_said("codes_strange", f"{hits:.0%} of cells are known spellings"))
    elif hits < 0.3 and profile.numeric <= 0.9:
        out.append(_said("codes_text", f"{profile.distinct} kinds of text"))
    if profile.yes_no > 0.9 and name == "status_code":
        out = [_said("codes_text", "cells are yes or no")]
    elif profile.yes_no > 0.9:
        out.append(_said("codes_many", "cells are yes or no"))
    return out


def _identity(profile: Cells) -> list[Evidence]:
    if profile.numeric > 0.9 and profile.decimals > 0.5 and profile.whole < 0.9:
        return [_said("repeated", "values have decimals", 2.0)]
    if profile.dates > 0.5:
        return [_said("no_dates", "cells are dates")]
    if profile.filled > 3 and profile.distinct <= max(2, 0.02 * profile.filled):
        return [_said("repeated", f"{profile.distinct} values in {profile.filled} cells", 2.0)]
    if profile.unique_share >= 0.98:
        return [_said("unique", "no value occurs twice")]
    if profile.unique_share >= 0.85:
        return [_said("unique", f"{profile.unique_share:.0%} of values differ", 0.3)]
    return [_said("repeated", f"{profile.unique_share:.0%} of values differ", 0.1)]
