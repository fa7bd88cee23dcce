"""The DuckDB file: works from anywhere and after a move, says what its columns mean, holds the same content."""

import duckdb
import pytest

from pipeline import export, io, schema
from pipeline.errors import PipelineError, UsageError
from pipeline.export import database


def ask(path, sql):
    with duckdb.connect(str(path), read_only=True) as base:
        return base.execute(sql).fetchall()


def content(path):
    """Everything a reader can see: tables, views, comments and rows."""
    with duckdb.connect(str(path), read_only=True) as base:
        found = {"columns": base.execute(
            "SELECT table_name, column_name, data_type, is_nullable, comment FROM duckdb_columns() WHERE NOT internal"
            " ORDER BY ALL"
        ).fetchall()}  # fmt: skip
        for (name,) in base.execute("SELECT table_name FROM information_schema.tables ORDER BY ALL").fetchall():
            found[name] = base.execute(f"FROM {database.quoted(name)}").fetchall()
    return found


def test_tables_hold_what_parquet_holds(run_folder):
    export.write_duckdb(run_folder)
    for table in database.written_tables(run_folder):
        want = io.read_table(table, run_folder)
        (got,) = ask(run_folder / database.NAME, f"SELECT count(*) FROM {table}")
        assert got[0] == len(want), table
    (length,) = ask(run_folder / database.NAME, "SELECT sum(length_drop_pipe_m) FROM selection")
    assert length[0] == pytest.approx(io.read_table("selection", run_folder)["length_drop_pipe_m"].sum(), rel=1e-9)
    leftovers = [path.name for path in run_folder.iterdir() if path.name.startswith(".")]
    assert leftovers == []


def test_stored_tables_survive_a_move_and_any_working_directory(run_folder, tmp_path, monkeypatch):
    export.write_duckdb(run_folder)
    moved = tmp_path / "else where" / "moved 'run' [2]"
    moved.parent.mkdir()
    run_folder.rename(moved)
    monkeypatch.chdir(tmp_path)
    assert ask(moved / database.NAME, "SELECT count(*) FROM wells") == [(120,)]
    assert ask("else where/moved 'run' [2]/" + database.NAME, "SELECT count(*) FROM families_by_region")[0][0] > 3


def test_views_work_from_anywhere_and_after_a_move_once_pointed(run_folder, tmp_path, monkeypatch):
    export.write_duckdb(run_folder, stored_rows=50)
    monkeypatch.chdir(tmp_path)
    names = "SELECT table_name FROM duckdb_tables() ORDER BY ALL"
    assert ("demand",) in ask(run_folder / database.NAME, names)
    assert ("wells",) not in ask(run_folder / database.NAME, names)
    before = ask(run_folder / database.NAME, "FROM families_by_region")
    moved = tmp_path / "moved 'run' [2]"
    run_folder.rename(moved)
    with pytest.raises(duckdb.IOException):
        ask(moved / database.NAME, "SELECT count(*) FROM wells")
    pointed = export.point_views(moved)
    assert "wells" in pointed and "demand" not in pointed
    assert ask(moved / database.NAME, "SELECT count(*) FROM wells") == [(120,)]
    assert ask(moved / database.NAME, "FROM families_by_region") == before
    (comment,) = ask(moved / database.NAME, "SELECT comment FROM duckdb_views() WHERE view_name = 'wells'")
    assert "one row a well" in comment[0]


def test_every_column_says_what_it_means(run_folder):
    export.write_duckdb(run_folder, stored_rows=200)
    rows = ask(
        run_folder / database.NAME,
        "SELECT table_name, column_name, comment FROM duckdb_columns() WHERE NOT internal",
    )
    comments = {(table, column): comment for table, column, comment in rows}
    for table in database.written_tables(run_folder):
        for column in schema.table(table):
            assert column.field.description in comments[table, column.field.name], (table, column.field.name)
    assert comments["wells", "depth_static_m"].endswith("[m]")
    views = ask(run_folder / database.NAME, "SELECT view_name, comment FROM duckdb_views() WHERE NOT internal")
    expected = {name for name, _, _ in database.helpful_views() if "stock_plan" not in database._NEEDS[name]}
    assert expected <= {name for name, _ in views}
    assert all(comment for _, comment in views)


def test_same_tables_give_the_same_content(run_folder, tmp_path, monkeypatch):
    export.write_duckdb(run_folder)
    first = content(run_folder / database.NAME)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    export.write_duckdb(run_folder)
    assert content(run_folder / database.NAME) == first


def test_wells_to_look_at_start_with_different_stops(run_folder):
    export.write_duckdb(run_folder)
    rows = ask(run_folder / database.NAME, "SELECT place, leading_reason, stops FROM wells_to_look_at ORDER BY place")
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    gravest = {"none_passes", "R10", "R13"}
    assert rows[0][1] != rows[1][1] and {rows[0][1], rows[1][1]} <= gravest
    seen: dict[str, list[int]] = {}
    for place, reason, _ in rows:
        seen.setdefault(reason, []).append(place)
    firsts = {reason: places[0] for reason, places in seen.items() if reason not in schema.codes("outcome")}
    assert max(firsts[r] for r in gravest & set(firsts)) < min(p for r, p in firsts.items() if r not in gravest)
    assert all(places[1] < 2 * len(seen) + 1 for places in seen.values() if len(places) > 1)
    want = ask(
        run_folder / database.NAME,
        "SELECT source_id, well_id FROM risks WHERE severity_code IN ('stop', 'caution')"
        " UNION SELECT source_id, well_id FROM selection WHERE outcome_code = 'none_passes'",
    )
    assert len(rows) == len(want)
    whole = ask(run_folder / database.NAME, "FROM wells_to_look_at ORDER BY place")
    head = ask(run_folder / database.NAME, f"FROM ({database.look_first_sql(10)}) ORDER BY place LIMIT 10")
    assert head == whole[:10]


def test_lengths_by_region_agree_with_pandas(run_folder):
    export.write_duckdb(run_folder)
    both = io.read_table("selection", run_folder).merge(
        io.read_table("design", run_folder), on=["source_id", "well_id"], suffixes=("", "_design")
    )
    both = both[both["outcome_code"].isin(["recommended", "recommended_with_caution"])]
    want = (both["length_drop_pipe_m_high"] * both["weight_inclusion_fraction"]).sum()
    (got,) = ask(run_folder / database.NAME, "SELECT sum(length_high_m) FROM pipe_length_by_region")
    assert got[0] == pytest.approx(want, abs=0.001 * len(both))


def test_a_run_that_dies_leaves_the_old_file(run_folder, monkeypatch):
    export.write_duckdb(run_folder)
    before = (run_folder / database.NAME).read_bytes()

    def die(*_):
        raise RuntimeError("power cut")

    monkeypatch.setattr(database, "_helpful_views", die)
    with pytest.raises(RuntimeError):
        export.write_duckdb(run_folder)
    assert (run_folder / database.NAME).read_bytes() == before
    assert not list(run_folder.glob(".wellstring*"))


def test_faults_are_told(tmp_path, run_folder):
    with pytest.raises(UsageError, match="no tables"):
        export.write_duckdb(tmp_path)
    with pytest.raises(UsageError, match=r"no wellstring\.duckdb"):
        export.point_views(tmp_path)
    (run_folder / database.NAME).write_bytes(b"this is no database at all" * 200)
    with pytest.raises(PipelineError, match="cannot be changed"):
        export.point_views(run_folder)


def test_names_and_texts_are_quoted():
    assert database.quoted('a"b') == '"a""b"'
    with duckdb.connect() as base:
        assert base.execute(f"SELECT {database.literal(chr(39) + '; DROP')}").fetchone() == ("'; DROP",)
