"""Raw text to records: wells, events, issues, quarantine, excluded and the ledger."""

from pipeline.normalise.records import Records, to_records

__all__ = ["Records", "to_records"]
