"""Ids of child tables in the spelling of their wells: zeros in front, decimals and case keep no row from its well."""

from __future__ import annotations

import pandas as pd

from pipeline.ingest.intake import Intake, RawTable
from pipeline.ingest.layouts import Layout, TableMap
from pipeline.ingest.proposal.unknown import plain_ids

_DECIMALS = r"^\d+\.0+$"


def align(intake: Intake, layout: Layout) -> None:
    """Spell ids of child tables as the table of wells does, where that is possible in one way; notes say so.

    Only tables with one id column are changed, and of those only ids that no well has as they stand.
    """
    main = layout.wells_table()
    children = {t.name: t for t in layout.tables.values() if t.role == "child" and len(t.id) == 1}
    wells = [t for t in intake.tables if (t.source_id, t.table) == (layout.id, main.name)]
    if len(main.id) != 1 or not children or not wells:
        return
    ids = pd.concat([_ids(t, main) for t in wells]).dropna().drop_duplicates()
    if ids.str.fullmatch(_DECIMALS).all():
        # normalise takes the decimals off where every id of a table has them
        ids = ids.str.replace(r"\.0+$", "", regex=True)
    plain = plain_ids(ids)
    single = ~plain.duplicated(keep=False)
    known = pd.Series(ids[single].to_numpy(), index=plain[single].to_numpy())
    for table in (t for t in intake.tables if t.source_id == layout.id and t.table in children):
        _spell(intake, table, children[table.table], pd.Index(ids), known, main.id[0])


def _ids(table: RawTable, mapped: TableMap) -> pd.Series:
    text = table.column(mapped.id[0]).str.strip()
    return text[text.notna() & (text != "")]


def _spell(
    intake: Intake, table: RawTable, mapped: TableMap, ids: pd.Index, known: pd.Series, header: str
) -> None:  # fmt: skip
    text = _ids(table, mapped)
    strange = text[~text.isin(ids)]
    if strange.empty:
        return
    distinct = strange.drop_duplicates()
    found = pd.Series(plain_ids(distinct).map(known).to_numpy(), index=distinct.to_numpy()).dropna()
    changed = strange.map(found).dropna()
    if changed.empty:
        return
    column = next(name for name in table.frame.columns if name == mapped.id[0])
    frame = table.frame.copy(deep=False)
    values = frame[column].astype("str")
    values.loc[changed.index] = changed
    frame[column] = values
    table.frame = frame
    intake.notes.append((
        table.file,
        f"{len(changed)} rows name their well by '{column}' in another spelling than '{header}' of the wells, as in "
        f"{found.index[0]} for {found.iloc[0]}; zeros in front, decimals and case were passed over.",
    ))  # fmt: skip
