"""The command ``wellstring``: parse, call, report. No domain logic."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.errors import PipelineError, UsageError

app = typer.Typer(
    name="wellstring", no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="From water-well records to drop pipe: a recommendation with reasons for every well, "
    "and the material for every region.",
)  # fmt: skip

Units = Annotated[str, typer.Option("--units", help="Units shown to people: us or metric.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
RunFolder = Annotated[Path, typer.Option("--run", help="Folder of a finished run.")]


def _tell(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def _outputs(inputs: list[Path]) -> Path:
    """Default run folder: outputs/<name of the first input>."""
    return Path("outputs") / inputs[0].resolve().name.split(".")[0]


@app.command()
def run(
    inputs: Annotated[list[Path], typer.Argument(help="Files or folders of well records.", show_default=False)],
    out: Annotated[Path | None, typer.Option("--out", help="Run folder; outputs/<name> by default.")] = None,
    layout: Annotated[list[Path] | None, typer.Option("--layout", help="Layout file of a source.")] = None,
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    units: Units = "",
    limit: Annotated[int | None, typer.Option("--limit", min=1, help="Read so many records a table.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Do a finished run again.")] = False,
    accept: Annotated[
        str | None,
        typer.Option("--accept-repairs", help="Repairs to use: none, all, or codes such as P101,P104."),
    ] = None,
    regions: Annotated[
        Path | None, typer.Option("--regions", help="GeoJSON polygons that name the region of a point.")
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Stop where the gate fails.")] = False,
    gate_pages: Annotated[bool, typer.Option("--gate-pages", help="Write the gate's result pages too.")] = False,
    as_json: Json = False,
) -> None:
    """Read well records, recommend a drop pipe for every well, sum the material by region."""
    from pipeline import chain
    from pipeline import settings as setup
    from pipeline.report import last_lines

    effective = setup.load(
        settings, units=units or None, limit=limit, layouts=tuple(layout or ()), strict=strict, gate_pages=gate_pages,
        accept_repairs=accept, regions=regions,
    )
    for path in inputs:
        if not path.exists():
            raise UsageError(f"{path}: no such file or folder.")
    folder = out or _outputs(inputs)
    manifest = chain.run(inputs, folder, effective, replace_run=replace, tell=_tell)
    if as_json:
        print(json.dumps(manifest, indent=1, sort_keys=True, default=str))
    else:
        for line in last_lines(folder):
            print(line)
    unread = chain.unread_tables(manifest)
    if unread:
        _tell(f"wellstring: not read: {', '.join(unread)}; 'wellstring inspect' tells why.")
    if not manifest["gate"]["passed"] or unread:
        raise typer.Exit(3)


@app.command()
def explain(
    run_folder: Annotated[Path | None, typer.Option("--run", help="Folder of a finished run.")] = None,
    well: Annotated[str | None, typer.Option("--well", help="Well id, or SOURCE:ID where two share it.")] = None,
    given: Annotated[
        list[str] | None,
        typer.Option("--set", help='A value typed in, such as depth_static="120 ft"; repeat for more.'),
    ] = None,
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    units: Units = "",
    as_html: Annotated[
        Path | None, typer.Option("--html", help="Write the page to this file, to print or to sign.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show one well's recommendation and its full calculation sheet."""
    from pipeline import io, sheet
    from pipeline import settings as setup

    effective = setup.load(settings, units=units or None)
    if (run_folder is None) == (not given):
        raise UsageError('Give either --run DIR --well ID, or values such as --set depth_static="120 ft".')
    if run_folder is not None:
        if not well:
            raise UsageError("Say which well with --well ID.")
        content = sheet.of_run(run_folder, well, effective)
        effective, _ = setup.of_run(run_folder, effective)
    else:
        content = sheet.of_values(given or [], effective)
    if as_html:
        io.write_text(as_html, sheet.html(content, effective.units or "us", effective))
        _tell(f"wellstring: {as_html} written.")
    if as_json:
        print(json.dumps(content, indent=1, ensure_ascii=False))
    elif not as_html:
        print(sheet.text(content, effective.units or "us", effective))


@app.command()
def inspect(
    inputs: Annotated[list[Path], typer.Argument(help="Files or folders of well records.", show_default=False)],
    layout: Annotated[list[Path] | None, typer.Option("--layout", help="Layout file of a source.")] = None,
    units: Units = "",
    write_layout: Annotated[
        Path | None, typer.Option("--write-layout", help="Write the layout, known or proposed, to a new file to edit.")
    ] = None,
    line: Annotated[
        int | None, typer.Option("--line", min=1, help="Show one line of one file and what becomes of it.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Show every column and all that is known of it.")] = False,
    as_json: Json = False,
) -> None:
    """Show what would be read from a file: layout, columns, units, how sure that is, and what is missing."""
    from pipeline import inspecting

    asked = inspecting.Asked(tuple(inputs), tuple(layout or ()), units, everything, as_json)
    if line is not None:
        shown, code = inspecting.one_line(asked, line)
    else:
        shown, code = inspecting.account(asked, write_layout)
    print(shown)
    if code:
        raise typer.Exit(code)


@app.command()
def measure(
    run_folder: RunFolder,
    each: Annotated[int, typer.Option("--each", min=1, help="Rows kept a region.")] = 50,
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    units: Units = "",
    as_json: Json = False,
) -> None:
    """Say what to measure first: the wells and missing values that put most pipe at stake, region by region."""
    from pipeline import measure as what_first
    from pipeline import settings as setup
    from pipeline.export import write_csv, write_duckdb

    effective = setup.load(settings, units=units or None)
    whole = what_first.measure_first(run_folder, effective, each, _tell)
    write_duckdb(run_folder)
    write_csv(run_folder, effective.units or "us")
    if as_json:
        print(what_first.as_json(whole))
    else:
        for line in what_first.lines(whole, effective.units or "us"):
            print(line)


@app.command()
def stock(
    run_folder: RunFolder,
    branch: Annotated[
        Path | None, typer.Option("--branch", help="CSV of branches and regions they serve; each region by default.")
    ] = None,
    items: Annotated[
        Path | None, typer.Option("--items", help="CSV of items: packs, lead times, stock on hand, prices.")
    ] = None,
    service: Annotated[float, typer.Option("--service", help="Service level of a cycle, such as 0.95.")] = 0.95,
    coils: Annotated[
        int, typer.Option("--coils", min=0, help="Coil lengths to stock at most; the declared number by default.")
    ] = 0,
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    units: Units = "",
    as_json: Json = False,
) -> None:
    """Plan the stock of branches: reorder points, what to order, what to hold centrally, trucks, coil lengths."""
    from pipeline import settings as setup
    from pipeline import stock as stocking
    from pipeline.export import write_csv, write_duckdb
    from pipeline.stock import text

    effective = setup.load(settings, units=units or None)
    plan = stocking.plan_stock(run_folder, stocking.Asked(branch, items, service, coils), effective, _tell)
    shown = setup.of_run(run_folder, effective)[0].units or "us"
    write_duckdb(run_folder)
    write_csv(run_folder, shown)
    if as_json:
        print(stocking.as_json(plan))
    else:
        for line in text.lines(plan, shown, effective):
            print(line)


@app.command()
def scenario(
    run_folder: RunFolder,
    out: Annotated[Path, typer.Option("--out", help="Folder of the new state.")],
    lower_water: Annotated[
        str | None, typer.Option("--lower-water", help='Fall of the water table, such as "10 m" or "30 ft".')
    ] = None,
    price: Annotated[
        list[str] | None,
        typer.Option("--price", help="Shift of the price of a pipe, such as pe=+20% or steel=-10%; repeat for more."),
    ] = None,
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    units: Units = "",
    replace: Annotated[bool, typer.Option("--replace", help="Do a finished scenario again.")] = False,
    as_json: Json = False,
) -> None:
    """Ask a finished run what if: pumps to lower after a fall of the water, pipe it takes, wells that cannot follow."""
    from pipeline import scenario as what_if
    from pipeline import settings as setup
    from pipeline.units import typed

    effective = setup.load(settings, units=units or None)
    if (lower_water is None) == (not price):
        raise UsageError('Say what changes: --lower-water "10 m", or --price pe=+20%; one of the two.')
    if price:
        from pipeline import price_shift

        document = price_shift.shift_prices(run_folder, price, out, effective, replace, _tell)
        told = json.dumps(document["scenario"], indent=1, sort_keys=True)
        print(told if as_json else "\n".join(price_shift.lines(document)))
        return
    assert lower_water is not None
    document = what_if.lower_water(run_folder, typed(lower_water, "m"), out, effective, replace, _tell)
    if as_json:
        print(json.dumps(document["scenario"], indent=1, sort_keys=True))
    else:
        for line in what_if.lines(document, document["settings"]["units"] or "us"):
            print(line)


@app.command()
def report(
    run_folder: RunFolder,
    units: Units = "us",
    public: Annotated[
        bool, typer.Option("--public", help="Write into --out what may be published: no single well, few hidden.")
    ] = False,
    out: Annotated[Path | None, typer.Option("--out", help="Public folder, apart from the run.")] = None,
    region: Annotated[
        list[str] | None, typer.Option("--region", help='Write the page of a region, "Area / Region"; may be repeated.')
    ] = None,
    language: Annotated[str, typer.Option("--language", help="Language of the pages: en, fr or es.")] = "en",
    settings: Annotated[Path | None, typer.Option("--settings", help="Settings file (TOML).")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write the public folder again.")] = False,
) -> None:
    """Write report.html and workbook.xlsx of a finished run again, or with --public a folder fit to publish."""
    from pipeline import settings as setup
    from pipeline.public import write_public
    from pipeline.report import write_region, write_report
    from pipeline.workbook import write_workbook

    if public != (out is not None):
        raise UsageError("--public takes --out, and --out is for --public only.")
    if out is not None:
        told = write_public(run_folder, out, setup.load(settings), units, replace)
        print(f"{out / 'index.html'}: {told['shown']:,} counts shown, {told['hidden']:,} hidden; "
              f"{told['squares']:,} squares on the map, {told['squares_hidden']:,} left out.")  # fmt: skip
        return
    if region:
        for name in region:
            print(write_region(run_folder, name, units, language))
        return
    write_report(run_folder, units, language)
    print(run_folder / "report.html")
    print(write_workbook(run_folder, units))


@app.command()
def pages(out: Annotated[Path, typer.Option("--out", help="Folder of the pages.")]) -> None:
    """Write the reference pages: data dictionary, rules, sources, options, practice, check values."""
    from pipeline import reference_pages

    for path in reference_pages.write_pages(out):
        print(path)


@app.command()
def database(run_folder: RunFolder) -> None:
    """Make wellstring.duckdb of a run anew, as after moving the run folder."""
    from pipeline.export import write_duckdb

    write_duckdb(run_folder)
    print(run_folder / "wellstring.duckdb")


@app.command()
def fields(as_json: Json = False) -> None:
    """List the declared columns, tables and practice values."""
    from pipeline import schema

    rows = [
        {"name": f.name, "type": f.type, "unit": f.unit, "codes": f.codes, "description": f.description}
        for f in schema.fields().values()
    ]
    practice = [dict(row) for row in schema.rows("practice")]
    if as_json:
        print(json.dumps({"fields": rows, "practice": practice}, indent=1, ensure_ascii=False))
    else:
        _show(rows, False)
        print()
        _show(practice, False)


@app.command()
def rules(as_json: Json = False) -> None:
    """List the rules: what is judged, why, and what to do."""
    from pipeline import schema

    _show([dict(row) for row in schema.rows("rules")], as_json)


@app.command()
def sources(
    layout: Annotated[str, typer.Argument(help="Id of one layout, to see its columns.", show_default=False)] = "",
    as_json: Json = False,
) -> None:
    """List the layouts of sources that are known, or show one with its columns."""
    from pipeline import source_list

    if as_json:
        _show([row for row in source_list.rows() if layout in ("", row["id"])], True)
    else:
        print(source_list.one(layout) if layout else source_list.text())


@app.command()
def options(
    market: Annotated[str, typer.Option("--market", help="us or metric; both by default.")] = "", as_json: Json = False
) -> None:
    """List the pipe options on the market."""
    from pipeline import schema

    _show([dict(r) for r in schema.rows("options") if market in ("", r["market_code"])], as_json)


@app.command()
def checks(as_json: Json = False) -> None:
    """Hold the formulas against printed values: expected, found, deviation and source of each."""
    from pipeline.check_values import results

    found = results()
    _show([check.row() if as_json else check.line() for check in found], as_json)
    wrong = [check.check for check in found if not check.passes]
    if not as_json:
        print(f"\n{len(found) - len(wrong)} of {len(found)} check values hold.")
    if wrong:
        _tell(f"wellstring: outside their tolerance: {', '.join(wrong)}.")
        raise typer.Exit(1)


@app.command()
def practice(
    market: Annotated[str, typer.Option("--market", help="us or metric.")] = "us", units: Units = "us",
    as_json: Json = False,
) -> None:  # fmt: skip
    """Hold the common head bands of each family against the calculation: head by flow, and what ends a family."""
    from pipeline import practice_table

    rows = practice_table.table(market)
    _show(rows if as_json else practice_table.lines(rows, units), as_json)


def _show(rows: list[dict[str, Any]], as_json: bool) -> None:
    """Rows as JSON, or as columns of text."""
    if as_json:
        print(json.dumps(rows, indent=1, ensure_ascii=False, default=str))
        return
    if not rows:
        print("nothing")
        return
    names = list(rows[0])
    cells = [[("" if row[n] is None else str(row[n]))[:60] for n in names] for row in rows]
    widths = [max(len(n), *(len(c[i]) for c in cells)) for i, n in enumerate(names)]
    for line in [names, *cells]:
        print("  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip())


def main() -> None:
    """Entry point: expected errors end in one line and an exit code, never in a traceback."""
    try:
        app()
    except PipelineError as error:
        _tell(f"wellstring: {error}")
        raise SystemExit(error.exit_code) from None
    except (OSError, MemoryError) as error:
        _tell(f"wellstring: {error}")
        raise SystemExit(1) from None
    except KeyboardInterrupt:
        _tell("wellstring: stopped; nothing half-written is left.")
        raise SystemExit(1) from None


if __name__ == "__main__":
    main()
