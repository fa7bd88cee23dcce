"""Which table of which layout a header belongs to; the file's name never matters."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.errors import SchemaError
from pipeline.ingest.header import unique_names
from pipeline.ingest.intake import folded
from pipeline.ingest.layouts import Layout, TableMap


@dataclass(frozen=True)
class Recognised:
    """A layout's table that a header fits, and how closely."""

    layout: Layout
    table: TableMap
    rank: tuple[int, int, int]


class Recogniser:
    """Compares headers with every table of every layout.

    Parameters
    ----------
    layouts : dict of Layout
        By source_id.
    own : set of str
        Ids of layouts that the user gave; they come before packaged ones.
    """

    def __init__(self, layouts: dict[str, Layout], own: set[str]):
        self._known = []
        for layout in layouts.values():
            for table in layout.tables.values():
                match = frozenset(folded(n) for n in table.match)
                absent = frozenset(folded(n) for n in table.match_absent)
                used = frozenset(folded(n) for n in layout.raw_columns(table.name))
                self._known.append((layout, table, match, absent, used, int(layout.id in own)))

    def rank(self, cells: tuple[str, ...]) -> float:
        """How well the best table fits; nought when none does."""
        names = {folded(n) for n in unique_names(cells).unique}
        return max(
            (len(match) + 0.001 * len(used & names) for _, _, match, absent, used, _ in self._known
             if match <= names and not absent & names),
            default=0.0,
        )  # fmt: skip

    def find(self, cells: tuple[str, ...], delimiter: str, file: str) -> Recognised | None:
        """The most specific table that fits, None when none does.

        Raises
        ------
        SchemaError
            When two fit equally well.
        """
        names = {folded(n) for n in unique_names(cells).unique}
        fits = [
            Recognised(layout, table, (own, len(match), len(used & names)))
            for layout, table, match, absent, used, own in self._known
            if match <= names and not absent & names and layout.delimiter in ("", delimiter)
        ]
        fits.sort(key=lambda r: r.rank, reverse=True)
        if len(fits) > 1 and fits[0].rank == fits[1].rank:
            one, two = (f"{r.layout.path} [tables.{r.table.name}]" for r in fits[:2])
            raise SchemaError(
                f"{file}: the columns fit {one} and {two} equally well; add names to 'match' of one, or to "
                "'match_absent' of the other."
            )
        return fits[0] if fits else None

    def nearest(self, cells: tuple[str, ...]) -> tuple[Layout, TableMap, list[str]] | None:
        """Of the user's own layouts, the table that lacks fewest names, and the names it lacks."""
        names = {folded(n) for n in unique_names(cells).unique}
        own = [
            (layout, table, [n for n in table.match if folded(n) not in names])
            for layout, table, _, _, _, is_own in self._known if is_own
        ]  # fmt: skip
        return min(own, key=lambda found: len(found[2])) if own else None
