"""Install plan: how the recommended string is put in and lifted, one row a sized well."""

from pipeline.install.notes import NOTES, sentences
from pipeline.install.plan import plan

__all__ = ["NOTES", "plan", "sentences"]
