"""The run folder: typed tables in Parquet, written whole or not at all.

Everything is written under a working name and moved into place, so that a run that dies
leaves no half file. Column units and descriptions are attached here, from the dictionary.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline import schema
from pipeline.errors import PipelineError, UsageError

ROWS_PER_PART = 262_144
ROWS_PER_GROUP = 131_072
# a column is written by its distinct values where so many rows from the top of a part repeat each four times or more
ROWS_LOOKED_AT, TIMES_REPEATED = 8192, 4


def to_arrow(name: str, frame: pd.DataFrame) -> pa.Table:
    """A frame as the declared table ``name``: every column present, typed and in its place.

    Columns that the declaration lacks are refused; columns that the frame lacks become missing.

    Raises
    ------
    PipelineError
        When a column is unknown, cannot take its type, or is empty where it must not be.
    """
    target = schema.arrow_schema(name)
    strange = [column for column in frame.columns if column not in target.names]
    if strange:
        raise PipelineError(f"Table '{name}' has columns that tables.csv does not declare: {strange}.")
    arrays = []
    for field in target:
        if field.name not in frame:
            arrays.append(pa.nulls(len(frame), field.type))
            continue
        try:
            array = pa.Array.from_pandas(frame[field.name], type=field.type, safe=True)
        except (pa.ArrowInvalid, pa.ArrowTypeError) as error:
            raise PipelineError(f"Table '{name}', column '{field.name}': {error}") from None
        arrays.append(array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array)
        if not field.nullable and arrays[-1].null_count:
            raise PipelineError(f"Table '{name}', column '{field.name}' is empty in {arrays[-1].null_count} rows.")
    return pa.Table.from_arrays(arrays, schema=target)


def sorted_by_key(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Rows in the order of the declared key; tables without one keep every column as key."""
    keys = schema.key_of(name) or [c for c in frame.columns]
    if _in_order(frame, keys):
        return frame.reset_index(drop=True)
    return frame.sort_values(keys, kind="stable", ignore_index=True)


def _in_order(frame: pd.DataFrame, keys: list[str]) -> bool:
    """Whether sorting by ``keys`` would move no row; False also where a key is missing anywhere or of another kind."""
    tied: Any = None
    for key in keys:
        array: Any = pa.array(frame[key], from_pandas=True)
        array = array.combine_chunks() if isinstance(array, pa.ChunkedArray) else array
        kind = array.type
        known = pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_integer(kind)
        if array.null_count or not known:
            return False
        above, same = pc.greater(array[:-1], array[1:]), pc.equal(array[:-1], array[1:])
        if tied is not None:
            above, same = pc.and_(above, tied), pc.and_(same, tied)
        if pc.any(above).as_py():
            return False
        if not pc.any(same).as_py():
            return True
        tied = same
    return True


class TableWriter:
    """Streams one declared table into ``folder/tables/<name>/part-00000.parquet`` and on.

    Row groups and parts have a fixed size whatever the chunks that arrive, so that the bytes
    do not depend on how the work was cut. Use as a context manager; nothing is left on error.
    """

    def __init__(self, name: str, folder: Path):
        self.name, self.final = name, folder / "tables" / name
        self.work = folder / "tables" / f".{name}.writing"
        self.rows = 0
        self._buffer: list[pa.Table] = []
        self._buffered = 0
        self._writer: pq.ParquetWriter | None = None
        self._part = -1
        self._part_rows = 0

    def __enter__(self) -> TableWriter:
        shutil.rmtree(self.work, ignore_errors=True)
        self.work.mkdir(parents=True)
        return self

    def write(self, table: pa.Table | pd.DataFrame) -> None:
        """Append rows; they must come in key order."""
        table = table if isinstance(table, pa.Table) else to_arrow(self.name, table)
        self._buffer.append(table)
        self._buffered += table.num_rows
        while self._buffered >= ROWS_PER_GROUP:
            self._group(ROWS_PER_GROUP)

    def _group(self, size: int) -> None:
        whole = pa.concat_tables(self._buffer)
        self._buffer, self._buffered = [whole.slice(size)], whole.num_rows - size
        if self._writer is None or self._part_rows >= ROWS_PER_PART:
            if self._writer is not None:
                self._writer.close()
            self._part, self._part_rows = self._part + 1, 0
            self._writer = self._open(self._part, whole)
        self._writer.write_table(whole.slice(0, size).combine_chunks(), row_group_size=ROWS_PER_GROUP)
        self._part_rows += size
        self.rows += size

    def _open(self, part: int, top: pa.Table) -> pq.ParquetWriter:
        """The file of a part that begins with the rows of ``top``."""
        few = min(len(top), ROWS_LOOKED_AT)
        coded = [
            name for name, column in zip(top.column_names, top.slice(0, few).columns, strict=True)
            if TIMES_REPEATED * pc.count_distinct(column).as_py() <= few
        ]  # fmt: skip
        return pq.ParquetWriter(
            self.work / f"part-{part:05d}.parquet", schema.arrow_schema(self.name), compression="zstd",
            compression_level=1, use_dictionary=coded, write_statistics=True, store_schema=True,
        )  # fmt: skip

    def write_whole(self, frame: pd.DataFrame, threads: int) -> None:
        """Write a frame in key order into a fresh folder, parts side by side: the bytes that :meth:`write` gives."""

        def one(part: int) -> None:
            table = to_arrow(self.name, frame.iloc[part * ROWS_PER_PART : (part + 1) * ROWS_PER_PART])
            with self._open(part, table) as writer:
                writer.write_table(table, row_group_size=ROWS_PER_GROUP)

        parts = -(-len(frame) // ROWS_PER_PART)
        if parts < 2:
            self.write(frame)
            return
        with ThreadPoolExecutor(max(threads, 1)) as pool:
            list(pool.map(one, range(parts)))
        self.rows, self._part = len(frame), parts - 1

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if kind is None:
            if self._buffered or self._part < 0:
                if not self._buffer:
                    self._buffer = [schema.arrow_schema(self.name).empty_table()]
                self._group(self._buffered)
            if self._writer is not None:
                self._writer.close()
            shutil.rmtree(self.final, ignore_errors=True)
            os.replace(self.work, self.final)
        else:
            if self._writer is not None:
                self._writer.close()
            shutil.rmtree(self.work, ignore_errors=True)


def write_table(name: str, frame: pd.DataFrame, folder: Path, threads: int = 2) -> int:
    """Write one declared table whole, rows in key order; returns the number of rows."""
    with TableWriter(name, folder) as writer:
        writer.write_whole(sorted_by_key(name, frame), threads)
    return len(frame)


def parts(name: str, folder: Path) -> list[Path]:
    """Parquet files of a table of a run, in order."""
    return sorted((folder / "tables" / name).glob("part-*.parquet"))


def read_table(name: str, folder: Path, columns: list[str] | None = None) -> pd.DataFrame:
    """One table of a run as a frame; missing text is None."""
    found = parts(name, folder)
    if not found:
        raise UsageError(f"{folder} holds no table '{name}'; give the folder of a finished run.")
    return pa.concat_tables([pq.read_table(path, columns=columns) for path in found]).to_pandas()


def refuse_other_columns(names: Iterable[str], folder: Path) -> None:
    """Refuse a run whose tables lack columns that are declared now.

    Raises
    ------
    UsageError
        When a table is absent or was written with other columns, as by an earlier version.
    """
    for name in names:
        found = parts(name, folder)
        if not found:
            raise UsageError(f"{folder} holds no table '{name}'; make the run again.")
        lacking = [c for c in schema.arrow_schema(name).names if c not in pq.read_schema(found[0]).names]
        if lacking:
            raise UsageError(
                f"{folder}: table '{name}' lacks {', '.join(lacking[:3])}, so another version wrote it; make the run "
                "again with --replace."
            )


def chunks(name: str, folder: Path, size: int) -> Iterator[pd.DataFrame]:
    """A table of a run in frames of at most ``size`` rows, in order."""
    for path in parts(name, folder):
        for batch in pq.ParquetFile(path).iter_batches(batch_size=size):
            yield batch.to_pandas()


def write_text(path: Path, text: str) -> None:
    """Write a text file in one move."""
    work = path.with_name(f".{path.name}.writing")
    work.parent.mkdir(parents=True, exist_ok=True)
    work.write_text(text, encoding="utf-8", newline="\n")
    os.replace(work, path)


def write_json(path: Path, content: Any) -> None:
    """Write JSON with sorted keys in one move."""
    write_text(path, json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False, default=str) + "\n")


def refuse_folder(folder: Path, replace: bool) -> None:
    """Refuse a run folder that cannot be used, before any work is done.

    Raises
    ------
    UsageError
        When the folder is a file, holds something that is no run, or a run and ``replace`` is not given.
    PipelineError
        When it cannot be written.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; --out takes a folder.")
    if folder.is_dir() and any(folder.iterdir()):
        finished = (folder / "manifest.json").is_file()
        if not finished and not (folder / ".running").is_file():
            raise UsageError(f"{folder} is not empty and holds no run; choose another --out.")
        if finished and not replace:
            raise UsageError(f"{folder} holds a finished run; add --replace to do it again, or choose another --out.")
    above = next(parent for parent in (folder, *folder.absolute().parents) if parent.exists())
    if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
        raise PipelineError(f"{folder} cannot be written: no permission in {above}.")


def prepare_folder(folder: Path, replace: bool) -> None:
    """Make the run folder, or clear the run that is in it when ``replace`` is given.

    Raises
    ------
    UsageError, PipelineError
        As :func:`refuse_folder`.
    """
    refuse_folder(folder, replace)
    try:
        if folder.is_dir():
            clear(folder)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / ".running").write_text("This run is not finished.\n", encoding="utf-8")
    except OSError as error:
        raise PipelineError(f"{folder} cannot be written: {error.strerror}.") from None


RUN_FILES = ("tables", "wellstring.duckdb", "report.html", "manifest.json", "csv", "geo", "regions", "workbook.xlsx",
             "datapackage.json", "gate", ".running")  # fmt: skip


def clear(folder: Path, names: Iterable[str] = RUN_FILES) -> None:
    """Remove what a run writes, and nothing else."""
    for name in names:
        path = folder / name
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)
