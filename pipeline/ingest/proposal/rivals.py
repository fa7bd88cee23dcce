"""Columns against each other: who has a field that several claim, coordinates, tests, a drawdown that is a level."""

from __future__ import annotations

from pipeline import schema
from pipeline.ingest.proposal import relations
from pipeline.ingest.proposal.cells import Cells
from pipeline.ingest.proposal.column import Candidate, Column, claims, in_unit, metres
from pipeline.ingest.proposal.meaning import weight
from pipeline.ingest.proposal.model import Evidence

# fields of which a table may hold several columns that are all right
_FIRST_COMES = frozenset({"well_id", "region_code", "event_date"})
_PAIR = {"latitude_deg": "longitude_deg", "longitude_deg": "latitude_deg"}
_PLACES = frozenset({"place", "well", "borehole", "hole"})
_MANY_TESTS = 3
_NEARLY_ALL = 0.97
_FINE = 1.5


def settle(columns: list[Column]) -> None:
    """Where several columns claim a field: the better evidence, or a doubt."""
    for _ in range(3):
        moved = False
        for column in columns:
            if column.lost_to:
                column.lost_to = column.why_not = ""
        for name, rivals in claims(columns).items():
            top = rivals[0]
            if name == "depth_completed_m" and any([_drilled(top, rival) for rival in rivals[1:]]):
                moved = True
                continue
            if name in _FIRST_COMES:
                _first(rivals)
                continue
            for rival in rivals[1:]:
                lead = top.best.odds - rival.best.odds  # type: ignore[union-attr]
                second = rival.candidates[1] if len(rival.candidates) > 1 else None
                if lead >= weight("margin") and second and second.odds >= 2.0 and second.field not in claims(columns):
                    rival.candidates = [*rival.candidates[1:], rival.candidates[0]]
                    moved = True
                elif lead >= weight("margin"):
                    rival.lost_to, rival.why_not = top.header, "another column fits better"
                else:
                    _tie(name, top, rival)
        if not moved:
            return


def _drilled(top: Column, rival: Column) -> bool:
    """A total depth beside a finished depth is that of the hole, where it is hardly ever less; then it says so."""
    spoken = [{c for way, _ in c.parsed.readings[:1] for c in way} for c in (top, rival)]
    if "completed" not in spoken[0] or spoken[1] & {"completed", "well"} or not (top.unit.unit and rival.unit.unit):
        return False
    found = relations.order(metres(top, top.unit.unit), metres(rival, rival.unit.unit))
    if found.rows < relations.FEWEST_ROWS or found.share < _NEARLY_ALL or not rival.best:
        return False
    text = f"not less than '{top.header}' in {found.share:.0%} of {found.rows} rows"
    rival.candidates.insert(0, Candidate("depth_drilled_m", rival.best.odds - 0.5,
                                         [*rival.best.reasons, Evidence("relation", text, -0.5)]))  # fmt: skip
    return True


def _first(rivals: list[Column]) -> None:
    """Of ids and names of places as likely as each other one serves: without gaps, then by name."""
    top = rivals[0].best.odds  # type: ignore[union-attr]
    near = [c for c in rivals if top - c.best.odds < weight("margin")]  # type: ignore[union-attr]
    ids = rivals[0].best.field == "well_id"  # type: ignore[union-attr]

    if ids:
        # a number of something that is not known stands back behind the number of a place or a well
        named = [c for c in rivals if c.profile.filled and _names_place(c)]
        if named and named[0] is not rivals[0] and not _names_place(rivals[0]) and _unknown_word(rivals[0]):
            near = named[:1]

    def rank(column: Column) -> tuple[bool, float, str]:
        return ids and column.profile.unique_share < 0.98, -round(column.profile.filled_share, 1), column.header

    first = min(near, key=rank)
    for rival in rivals:
        if rival is not first:
            rival.lost_to, rival.why_not = first.header, "another column fits better"


def _names_place(column: Column) -> bool:
    return any({"id", "code"} & set(way) and _PLACES & set(way) for way, _ in column.parsed.readings)


def _unknown_word(column: Column) -> bool:
    return all(cost >= 1.0 for _, cost in column.parsed.readings)


def _tie(name: str, top: Column, rival: Column) -> None:
    """Two columns as likely: the same thing in two units or copies is no doubt, all else is."""
    declared = schema.fields()[name].unit
    if declared and top.unit.unit and rival.unit.unit:
        same, _ = relations.same_thing(in_unit(top, declared), in_unit(rival, declared))
        if same:
            rival.lost_to, rival.why_not = top.header, f"the same as '{top.header}'"
            return
    for column in (top, rival):
        if not column.lost_to:
            column.why_not = "two columns claim this field"


def drawdowns(columns: list[Column]) -> None:
    """A drawdown column that holds the pumping level is a doubt, with the evidence."""
    held = claims(columns)
    for column in held.get("drawdown_test_m", []):
        static = held.get("depth_static_m", [])
        if static and column.unit.unit and static[0].unit.unit and column.best:
            why = relations.drawdown_is_level(
                metres(column, column.unit.unit), metres(static[0], static[0].unit.unit)
            )
            if why:
                column.why_not = f"may hold the pumping level: {why}"
                column.best.reasons.append(Evidence("relation", why, weight("relation_against")))
                column.candidates.insert(1, Candidate("depth_pumping_m", column.best.odds - 0.5))


def of_tests(columns: list[Column]) -> None:
    """In a table about pumping tests the pump is as likely as not the one that was brought for the test."""
    spoken = [{c for way, _ in column.parsed.readings[:1] for c in way} for column in columns]
    tests = sum("test" in words for words in spoken)
    if tests < _MANY_TESTS or any(c.best and c.best.field == "completed_date" and c.best.odds > 2 for c in columns):
        return
    for column in columns:
        words = {c for way, _ in column.parsed.readings[:1] for c in way}
        lasting = words & {"set", "duty", "drop_pipe"}
        if column.best and column.best.field == "depth_pump_m" and not column.why_not and not lasting:
            column.why_not = f"{tests} columns speak of a test; this may be the pump of the test"


def coordinates(columns: list[Column]) -> tuple[Cells, Cells] | None:
    """Values of latitude and longitude where both are degrees."""
    held = claims(columns)
    if "latitude_deg" in held and "longitude_deg" in held:
        lat, lon = held["latitude_deg"][0].profile, held["longitude_deg"][0].profile
        if abs(lat.median) <= 90 and abs(lon.median) <= 180:
            return lat, lon
    return None


def together(columns: list[Column]) -> None:
    """Latitude and longitude come in pairs: one alone is hardly one, two that are degrees support each other."""
    held = {name: [c for c in columns for k in c.candidates if k.field == name] for name in _PAIR}
    for column in columns:
        for candidate in column.candidates:
            if candidate.field in _PAIR:
                other = [c for c in held[_PAIR[candidate.field]]
                         if (abs(c.profile.median) <= 180) == (abs(column.profile.median) <= 180)]  # fmt: skip
                fine = column.profile.decimals >= _FINE and any(c.profile.decimals >= _FINE for c in other)
                key = "alone" if not other else "relation" if fine else ""
                if key:
                    text = "no column for the other coordinate" if key == "alone" else f"beside '{other[0].header}'"
                    candidate.reasons.append(Evidence("relation", text, weight(key)))
                    candidate.odds += weight(key)
        column.candidates.sort(key=lambda c: (-c.odds, c.field))


def exchanged(columns: list[Column]) -> None:
    """Latitude and longitude whose values say the reverse, or that are no degrees at all, are doubts."""
    for column in columns:
        concepts = {c for way, _ in column.parsed.readings for c in way}
        size = max(abs(column.profile.p05), abs(column.profile.p95))
        if concepts & {"northing", "easting", "latitude", "longitude"} and size > 1000:
            column.why_not = "projected coordinates: a crs is needed"
        elif column.best and column.best.field == "latitude_deg" and size > 90:
            column.why_not = "values are no latitudes"
