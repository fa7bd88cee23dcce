"""The few exceptions raised on purpose. Each message says what, where and what to do."""

from __future__ import annotations


class PipelineError(Exception):
    """Something the reader of the message can mend; printed as one line, without a traceback.

    Attributes
    ----------
    exit_code : int
        1 could not (empty, binary or unreadable file, disk, ledger mismatch);
        2 needs the user (wrong option, missing path, columns not understood).
    """

    exit_code = 1


class SchemaError(PipelineError):
    """A declaration under schemas/ or in a user's own file is wrong or incomplete."""

    exit_code = 2


class SourceError(PipelineError):
    """An input file cannot be read or understood."""

    def __init__(self, message: str, exit_code: int = 1):
        super().__init__(message)
        self.exit_code = exit_code


class UsageError(PipelineError):
    """An option, a path or a typed value is wrong."""

    exit_code = 2
