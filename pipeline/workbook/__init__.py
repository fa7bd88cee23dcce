"""One workbook a run, sheets by audience: numbers in the reader's units, filters, frozen headers, no macros."""

from pipeline.workbook.write import write_workbook

__all__ = ["write_workbook"]
