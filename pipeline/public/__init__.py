"""Publication: a folder of its own with nothing of a single well in it; looks across all wells."""

from pipeline.public.write import write_public

__all__ = ["write_public"]
