"""Tables in parts: the same bytes whatever the threads and however the rows come; order kept or made."""

import pandas as pd
import pytest

from pipeline import io


@pytest.fixture
def small_parts(monkeypatch):
    monkeypatch.setattr(io, "ROWS_PER_GROUP", 32)
    monkeypatch.setattr(io, "ROWS_PER_PART", 64)


def rows(size: int) -> pd.DataFrame:
    return pd.DataFrame({
        "source_id": "invented", "well_id": [f"W{k:05d}" for k in range(size)], "source_file": "made.csv",
        "source_table": "wells", "source_line": range(2, size + 2), "source_row": range(1, size + 1),
        "reason_code": "dry", "detail": [f"word {k % 7}" for k in range(size)],
    })  # fmt: skip


def parts(folder) -> list[bytes]:
    return [path.read_bytes() for path in io.parts("excluded", folder)]


@pytest.mark.parametrize("size", [0, 1, 64, 65, 200])
def test_parts_written_side_by_side_are_those_written_one_after_another(small_parts, tmp_path, size):
    frame = rows(size)
    io.write_table("excluded", frame, tmp_path / "one", threads=1)
    io.write_table("excluded", frame, tmp_path / "three", threads=3)
    with io.TableWriter("excluded", tmp_path / "streamed") as writer:
        for start in range(0, size, 23):
            writer.write(frame.iloc[start : start + 23])
    assert parts(tmp_path / "one") == parts(tmp_path / "three") == parts(tmp_path / "streamed")
    assert len(parts(tmp_path / "one")) == max(-(-size // 64), 1)
    assert writer.rows == size == len(io.read_table("excluded", tmp_path / "three"))


def test_rows_out_of_order_are_put_in_order_and_equal_keys_keep_their_place(small_parts, tmp_path):
    frame = rows(150)
    mixed = frame.sample(frac=1.0, random_state=3)
    io.write_table("excluded", mixed, tmp_path, threads=2)
    assert io.read_table("excluded", tmp_path)["well_id"].tolist() == frame["well_id"].tolist()
    named = pd.DataFrame(
        {"source_id": ["b", "a", "a", "a"], "well_id": ["1", "2", "2", "1"], "region_code": list("wxyz")}
    )
    assert io.sorted_by_key("wells", named)["region_code"].tolist() == ["z", "x", "y", "w"]
    fine = named.iloc[[3, 1, 2, 0]]
    assert io.sorted_by_key("wells", fine)["region_code"].tolist() == ["z", "x", "y", "w"]
    lacking = fine.assign(well_id=[None, "2", "2", "1"])
    assert io.sorted_by_key("wells", lacking)["region_code"].tolist() == ["x", "y", "z", "w"]


def test_a_table_that_cannot_be_written_leaves_nothing(small_parts, tmp_path):
    frame = rows(200).astype({"source_row": object})
    frame.loc[150, "source_row"] = "no number"
    with pytest.raises(io.PipelineError, match="source_row"):
        io.write_table("excluded", frame, tmp_path, threads=2)
    assert not list((tmp_path / "tables").iterdir())
