"""Wellstring: from water-well records to drop pipe."""

__version__ = "0.1.0"
