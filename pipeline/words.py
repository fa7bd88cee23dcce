"""Human words by message id, from ``schemas/words/en.toml``: headings, reasons, labels, cautions.

The catalogue is flat (``"report.title" = "..."``), so that a word is found by searching for its id
and two people can add lines at the end without meeting. ``{name}`` in a text is a value put in.
"""

from __future__ import annotations

from functools import cache

from pipeline import schema
from pipeline.errors import SchemaError


@cache
def catalogue() -> dict[str, str]:
    """All words by message id."""
    return {key: str(text) for key, text in schema.toml("words/en").items()}


def say(message_id: str, **values: object) -> str:
    """The words of one message id with ``values`` put in.

    Raises
    ------
    SchemaError
        When the id is not in the catalogue, or its text wants a value that was not given.
    """
    try:
        text = catalogue()[message_id]
    except KeyError:
        raise SchemaError(f"schemas/words/en.toml has no message '{message_id}'; add it there.") from None
    try:
        return text.format(**values)
    except (KeyError, IndexError, ValueError) as error:
        raise SchemaError(f"Message '{message_id}' in schemas/words/en.toml: value {error} was not given.") from None


def says(message_id: str) -> bool:
    """Whether the catalogue has this id."""
    return message_id in catalogue()


_BANDS = ("_low", "_high", "_expected", "_p10", "_p50", "_p90")


def label(field: str) -> str:
    """Name of a column in plain words, without its unit: ``depth_static_m_low`` -> "Static level, low".

    Raises
    ------
    SchemaError
        When neither the column nor its stem has words.
    """
    if says(f"column.{field}"):
        return say(f"column.{field}")
    if field.endswith("_basis_code"):
        return say("column.basis_of", what=label(field.removesuffix("_basis_code")))
    for ending in _BANDS:
        if field.endswith(ending):
            return say(f"column.band{ending}", what=label(field.removesuffix(ending)))
    return say(f"column.{schema.stem(field)}")


def cautions() -> list[str]:
    """The cautions that stand in every output for people, in order."""
    return [say(key) for key in sorted(catalogue()) if key.startswith("caution.")]


def reason(code: str) -> str:
    """Words of a reason, fault or flag code; the code itself, with blanks, where none are written yet."""
    for family in ("reason", "fault", "flag", "not_chosen"):
        if says(f"{family}.{code}"):
            return say(f"{family}.{code}")
    return code.replace("_", " ")
