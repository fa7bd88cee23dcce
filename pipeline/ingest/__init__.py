"""Files to raw text tables with a line ledger.

``read_inputs`` opens files and folders, knows each table by its header, and gives the text of the columns
that the table's layout uses, with the physical line of every record. ``look`` tells what would be read,
``describe`` the same a row a column, ``propose`` what the columns of an unknown table are taken to be.
"""

from pipeline.ingest.intake import Intake, LedgerEntry, RawTable
from pipeline.ingest.layouts import ColumnMap, Layout, TableMap, available, from_dict, packaged, read_layout
from pipeline.ingest.look import describe, look
from pipeline.ingest.reading import propose, read_inputs

__all__ = ["ColumnMap", "Intake", "Layout", "LedgerEntry", "RawTable", "TableMap", "available", "describe",
           "from_dict", "look", "packaged", "propose", "read_inputs", "read_layout"]  # fmt: skip
