"""Layout files: the packaged ones, and messages about faults in a user's own."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from pipeline import schema
from pipeline.errors import SchemaError, UsageError
from pipeline.ingest import from_dict, packaged, read_layout

GOOD = {
    "source": {"id": "fenmark"},
    "tables": {"wells": {"role": "wells", "match": ["A"], "id": "A",
                         "columns": {"depth_static_m": {"from": "B", "unit": "ft"}}}},
}  # fmt: skip


def changed(**at: object) -> dict[str, object]:
    document: dict[str, object] = copy.deepcopy(GOOD)  # type: ignore[arg-type]
    for path, value in at.items():
        node = document
        *parents, last = path.split("__")
        for parent in parents:
            node = node.setdefault(parent, {})  # type: ignore[assignment]
        node[last] = value
    return document


def test_data_packaged_layouts_hold() -> None:
    assert len(packaged()) >= 12
    for layout in packaged().values():
        layout.check_units()
        for name in layout.tables:
            assert layout.raw_columns(name), f"{layout.id} {name} uses no column"
        assert layout.title and layout.publisher and layout.licence, layout.id


def test_data_reasons_of_layouts_are_known() -> None:
    known = {"not_water_supply", "plugged", "dry"}
    for layout in packaged().values():
        for tests in layout.exclude.values():
            assert set(tests.values()) <= known, layout.id


def test_data_unit_words_are_units() -> None:
    from pipeline.units import registry, spelled

    for row in schema.rows("unit_words"):
        registry().Unit(spelled(row["unit"]))


@pytest.mark.parametrize(
    ("document", "says"),
    [
        (changed(strange={}), "unknown key"),
        (changed(source={}), "needs 'id'"),
        (changed(tables={}), "at least one table"),
        (changed(tables__wells__role="child"), "role = \"wells\""),
        (changed(tables__wells__match=[]), "needs 'match'"),
        (changed(tables__wells__columns__depth_m={"from": "B"}), "no field"),
        (changed(tables__wells__columns__depth_static_m={"from": "B"}), "needs 'unit'"),
        (changed(tables__wells__columns__depth_static_m={"unit": "ft"}), "needs 'from'"),
        (changed(tables__wells__columns__depth_static_m={"from": "B", "unit": "ft", "pick": "best"}), "pick"),
        (changed(tables__wells__columns__use_code={"from": "B", "codes": {"X": "garden"}}), "no codes"),
        (changed(tables__wells__columns__use_code={"from": "B", "unit": "ft"}), "takes no unit"),
        (changed(source__market="mars"), "market"),
        (changed(source__id=7), "must be text"),
        (changed(tables__levels={"role": "child", "match": ["C"]}), "needs 'id'"),
    ],
)
def test_faults_name_file_and_key(document: dict[str, object], says: str) -> None:
    with pytest.raises(SchemaError, match=says) as raised:
        from_dict(document, "mine.toml")
    assert "mine.toml" in str(raised.value)


def test_a_unit_of_the_wrong_kind_is_told() -> None:
    layout = from_dict(changed(tables__wells__columns__depth_static_m={"from": "B", "unit": "gpm"}), "mine.toml")
    with pytest.raises(SchemaError, match="depth_static_m"):
        layout.check_units()


def test_a_time_to_fill_needs_a_volume_a_time_and_a_flow() -> None:
    column = {"from": "B", "unit": "min", "fills": "20 L"}
    from_dict(changed(tables__wells__columns={"flow_duty_m3_per_s": column}), "mine.toml").check_units()
    with pytest.raises(SchemaError, match="no flow"):
        from_dict(changed(tables__wells__columns={"depth_static_m": column}), "mine.toml")
    for wrong in ({"fills": "20 kg"}, {"unit": "ft"}):
        layout = from_dict(changed(tables__wells__columns={"flow_duty_m3_per_s": {**column, **wrong}}), "mine.toml")
        with pytest.raises(SchemaError, match="flow_duty_m3_per_s"):
            layout.check_units()


def test_no_toml_and_no_file(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("= nothing", encoding="utf-8")
    with pytest.raises(SchemaError, match=r"a\.toml"):
        read_layout(tmp_path / "a.toml")
    with pytest.raises(UsageError):
        read_layout(tmp_path / "b.toml")


@pytest.mark.parametrize(
    ("header", "field", "unit"),
    [
        ("Depth (ft)", "depth_completed_m", "ft"), ("swl_m", "depth_static_m", "m"),
        ("Static water level [feet]", "depth_static_m", "ft"), ("well id", "well_id", ""),
        ("yield gpm", "flow_tested_m3_per_s", "gpm"), ("depth_static_m", "depth_static_m", "m"),
        ("Pump HP", "power_motor_w", "hp"), ("Pump", "pump_kind_code", ""), ("BoreholeNo", "well_id", ""),
        ("Yield (m³/h)", "flow_tested_m3_per_s", "m**3/h"), ("Casing Dia (in)", "diameter_casing_inside_m", "in"),
        ("flow_m3_per_h", "flow_tested_m3_per_s", "m**3/h"), ("Water temp °C", "temperature_water_degc", "degC"),
        ("Owner", "", ""), ("Remarks", "", ""), ("Total Depth ft bgl", "depth_completed_m", "ft"),
    ],
)  # fmt: skip
def test_words_and_units_of_headers(header: str, field: str, unit: str) -> None:
    import pandas as pd

    from pipeline.ingest.proposal.score import guess_table

    found = guess_table((header,), pd.DataFrame({header: ["", ""]}))[0]
    assert found.field == field and unit in ("", found.unit)
