"""Files to raw text tables with a line ledger."""
