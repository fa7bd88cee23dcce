"""Files that are broken, hostile or huge: one plain message or a line set aside, never a traceback or a hang."""

from __future__ import annotations

import gzip
import io
import json
import os
import sqlite3
import zipfile
from pathlib import Path

import pytest

from pipeline.errors import PipelineError, SourceError
from pipeline.ingest import read_inputs
from pipeline.ingest.files import list_files, open_file
from pipeline.settings import Settings

LAYOUT = (
    '[source]\nid = "fenmark_wells"\n[tables.wells]\nrole = "wells"\nmatch = ["BORE", "DEPTH_FT"]\nid = "BORE"\n'
    '[tables.wells.columns.depth_completed_m]\nfrom = "DEPTH_FT"\nunit = "ft"\n'
)
HEADER = b"BORE,OWNER,DEPTH_FT\n"
RECORDS = b"".join(b"%d,x,100\n" % n for n in range(200))


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    path = tmp_path / "fenmark_wells.toml"
    path.write_text(LAYOUT, encoding="utf-8")
    return Settings(layouts=(path,), threads=1)


def put(tmp_path: Path, content: bytes, name: str = "in.csv") -> Path:
    path = tmp_path / "in" / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(content)
    return path


def refused(path: Path, settings: Settings, says: str) -> None:
    with pytest.raises(PipelineError, match=says) as raised:
        read_inputs([path], settings)
    assert "\n" not in str(raised.value) and len(str(raised.value)) < 1000


# --- text ---


@pytest.mark.parametrize(
    ("between", "faults"),
    [
        (b'"' * 5_000_001 + b"\n", 1),  # quotes that never pair
        (b'1,"abc,100\n' * 20_000, 20_000),  # a quote opened on every line
        (b"x" * 20_000_000 + b"\n", 1),  # a line of 20 MB
        (b'1,"' + b"y" * 20_000_000 + b'",5\n', 1),  # a cell of 20 MB
        (b"\0\n" * 20, 20),
        (b"\n" * 300_000, 0),
        (b"1" + b"," * 100_000 + b"2\n", 1),
    ],
)
def test_hostile_lines_are_set_aside_and_the_rest_is_read(
    tmp_path: Path, settings: Settings, between: bytes, faults: int
) -> None:
    content = HEADER + RECORDS + between + RECORDS.replace(b",x,", b",y,")
    entry = read_inputs([put(tmp_path, content)], settings).ledger[0]
    assert entry.rows_read == 400 + faults and sum(entry.quarantined.values()) == faults
    assert sum(entry.byte_kinds.values()) == entry.bytes == len(content)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"x" * 3_000_000, "first line is longer"),
        (b",".join(b"c%d" % n for n in range(100_000)) + b"\n1,2\n", "2000 cells in its first line"),
        (b"\0" * 3_000_000, "empty|binary"),
        (b"|" * 3_000_000, "empty"),
        (b" " * 3_000_000, "empty"),
    ],
)
def test_what_is_no_table_is_told(tmp_path: Path, settings: Settings, content: bytes, says: str) -> None:
    refused(put(tmp_path, content), settings, says)


@pytest.mark.parametrize("depth", [b'{"a":' * 100_000, b'{"type":"FeatureCollection","features":' + b"[" * 100_000,
                                   (b'{"type":"Feature","x":' + b"[" * 5000 + b"\n") * 20])  # fmt: skip
def test_json_of_any_depth(tmp_path: Path, settings: Settings, depth: bytes) -> None:
    refused(put(tmp_path, depth, "in.geojson"), settings, "broken")


# --- files ---


def test_a_folder_named_like_a_file(tmp_path: Path, settings: Settings) -> None:
    folder = tmp_path / "wells.csv"
    folder.mkdir()
    refused(folder, settings, "holds no file")
    (folder / "a.csv").write_bytes(HEADER + RECORDS)
    assert read_inputs([folder], settings).ledger[0].rows_read == 200


def test_links_pipes_and_devices(tmp_path: Path, settings: Settings) -> None:
    folder = put(tmp_path, HEADER + RECORDS).parent
    (folder / "lost.csv").symlink_to(folder / "nowhere.csv")
    (folder / "loop.csv").symlink_to(folder / "loop.csv")
    (folder / "round").symlink_to(folder)
    os.mkfifo(folder / "pipe.csv")
    intake = read_inputs([folder], settings)
    assert [t.file for t in intake.tables] == ["in.csv"]
    assert {name for name, _ in intake.not_read} == {"lost.csv", "loop.csv", "pipe.csv"}


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read everything")
def test_files_and_folders_that_may_not_be_read(tmp_path: Path, settings: Settings) -> None:
    path = put(tmp_path, HEADER + RECORDS)
    closed = path.parent / "closed"
    closed.mkdir()
    (closed / "a.csv").write_bytes(HEADER + RECORDS)
    closed.chmod(0)
    try:
        assert [n for n, _ in read_inputs([path.parent], settings).not_read] == ["closed"]
    finally:
        closed.chmod(0o700)
    path.chmod(0)
    refused(path, settings, "cannot be read")


def test_a_file_cut_or_gone_after_it_was_listed(tmp_path: Path) -> None:
    path = put(tmp_path, HEADER + RECORDS)
    file = list_files([path])[0]
    path.write_bytes(HEADER[:10])
    assert next(open_file(file)).text is not None
    path.unlink()
    with pytest.raises(SourceError, match="cannot be found"):
        list(open_file(file))


# --- archives ---


def zipped(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def test_archives_inside_archives(tmp_path: Path, settings: Settings) -> None:
    inner = zipped(**{"a.csv": HEADER + RECORDS})
    assert read_inputs([put(tmp_path, gzip.compress(inner), "a.zip.gz")], settings).ledger[0].rows_read == 200
    for _ in range(4):
        inner = zipped(**{"a.zip": inner})
    refused(put(tmp_path, inner, "deep.zip"), settings, "archives inside archives")


def test_an_archive_of_too_many_files(tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.ingest import archives

    monkeypatch.setattr(archives, "MAX_MEMBERS", 3)
    content = zipped(**{f"{n}.csv": HEADER + RECORDS for n in range(4)})
    refused(put(tmp_path, content, "many.zip"), settings, "holds more than")


def test_an_archive_that_lies_about_its_sizes(tmp_path: Path, settings: Settings) -> None:
    content = bytearray(zipped(**{"a.csv": HEADER + RECORDS * 2000}))
    at = content.rfind(b"PK\x01\x02")
    content[at + 24 : at + 28] = (50).to_bytes(4, "little")
    path = put(tmp_path, bytes(content), "lies.zip")
    try:
        read_inputs([path], settings)
    except PipelineError as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize("cut", [10, 100, 300, -30, -4])
def test_archives_and_books_cut_short(tmp_path: Path, settings: Settings, cut: int) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    for row in (["BORE", "DEPTH_FT"], ["1", 100]):
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    packed = (zipped(**{"a.csv": HEADER + RECORDS}), "a.zip"), (out.getvalue(), "a.xlsx")
    for content, name in (*packed, (gzip.compress(HEADER + RECORDS), "a.csv.gz")):
        refused(put(tmp_path, content[:cut], name), settings, "cannot be|broken|no table|not a table")


def test_other_office_documents_are_named(tmp_path: Path, settings: Settings) -> None:
    sheet = zipped(**{"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<x/>"})
    refused(put(tmp_path, sheet, "a.ods"), settings, "OpenDocument")
    refused(put(tmp_path, b"\xd0\xcf\x11\xe0" + bytes(600), "a.xls"), settings, r"old workbook \(\.xls\).*save")
    refused(put(tmp_path, zipped(**{"[Content_Types].xml": b"<x/>"}), "a.docx"), settings, "without sheets")


# --- databases and tables of fixed width ---


def test_a_database_with_any_page_spoilt(tmp_path: Path, settings: Settings) -> None:
    path = tmp_path / "a.gpkg"
    base = sqlite3.connect(path)
    base.executescript(
        "PRAGMA page_size = 512; VACUUM;"
        "CREATE TABLE gpkg_contents (table_name TEXT, data_type TEXT);"
        "INSERT INTO gpkg_contents VALUES ('wells', 'attributes');"
        "CREATE TABLE wells (BORE TEXT, DEPTH_FT REAL);"
    )
    base.executemany("INSERT INTO wells VALUES (?, 100)", [(str(n),) for n in range(200)])
    base.commit()
    base.close()
    whole = path.read_bytes()
    assert read_inputs([path], settings).ledger[0].rows_read == 200
    for page in range(0, len(whole), 512):
        for filling in (b"\0", b"\xff"):
            spoilt = whole[:page] + filling * 512 + whole[page + 512 :]
            try:
                read_inputs([put(tmp_path, spoilt, "b.gpkg")], settings)
            except PipelineError as error:
                assert "\n" not in str(error)


def test_geojson_that_would_fill_the_memory(tmp_path: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.ingest import geojson

    monkeypatch.setattr(geojson, "CELLS_MOST", 50)
    features = [{"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]}, "properties": {f"p{n}": 1}}
                for n in range(20)]  # fmt: skip
    content = json.dumps({"type": "FeatureCollection", "features": features}).encode()
    refused(put(tmp_path, content, "in.geojson"), settings, "properties")


@pytest.mark.parametrize("name", ["wells.toml", "wells.md", "make_wells.py", "WELLS.XML"])
def test_files_of_other_kinds_are_no_tables_whatever_they_hold(tmp_path: Path, name: str) -> None:
    # settings, pages and programs may hold rows of numbers under known words
    text = "well_id,depth_ft,static_level_ft\na,100,20\nb,120,30\n"
    (tmp_path / name).write_text(text)
    (tmp_path / "wells.csv").write_text(text)
    intake = read_inputs([tmp_path], Settings())
    assert [t.file for t in intake.tables] == ["wells.csv"]
    assert name in [file for file, _ in intake.not_read]
    with pytest.raises(SourceError, match="not a table"):
        read_inputs([tmp_path / name], Settings())
