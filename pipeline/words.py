"""Human words by message id, from ``schemas/words/<language>.toml``: headings, reasons, labels, cautions.

The catalogue is flat (``"report.title" = "..."``), so that a word is found by searching for its id
and two people can add lines at the end without meeting. ``{name}`` in a text is a value put in. English is
whole; a translation is one more file, and what it lacks is said in English. Labels of codes, rules, checks and
goods, declared in English beside their facts, are translated under ``code.<list>.<code>``, ``rule.<code>``,
``check.<code>`` and ``item.<id>``.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache

from pipeline import schema
from pipeline.errors import SchemaError, UsageError

ENGLISH = "en"
_SPOKEN: ContextVar[str] = ContextVar("language", default=ENGLISH)


@cache
def catalogue(code: str = ENGLISH) -> dict[str, str]:
    """All words of one language by message id."""
    return {key: str(text) for key, text in schema.toml(f"words/{code}").items()}


def languages() -> list[str]:
    """Languages that have a catalogue."""
    return sorted(path.name.removesuffix(".toml") for path in schema.folder().joinpath("words").iterdir()
                  if path.name.endswith(".toml"))  # fmt: skip


def spoken() -> str:
    """The language in which words are said just now."""
    return _SPOKEN.get()


@contextmanager
def language(code: str) -> Iterator[None]:
    """Say words in another language within a ``with``.

    Raises
    ------
    UsageError
        When there is no catalogue of that language.
    """
    if code not in languages():
        raise UsageError(f"No words in language '{code}'; there are {', '.join(languages())}.")
    token = _SPOKEN.set(code)
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def _text(message_id: str) -> str | None:
    found = catalogue(_SPOKEN.get()).get(message_id)
    return catalogue().get(message_id) if found is None else found


def say(message_id: str, **values: object) -> str:
    """The words of one message id with ``values`` put in.

    Raises
    ------
    SchemaError
        When the id is not in the catalogue, or its text wants a value that was not given.
    """
    text = _text(message_id)
    if text is None:
        raise SchemaError(f"schemas/words/en.toml has no message '{message_id}'; add it there.")
    try:
        return text.format(**values)
    except (KeyError, IndexError, ValueError) as error:
        raise SchemaError(f"Message '{message_id}' in schemas/words: value {error} was not given.") from None


def says(message_id: str) -> bool:
    """Whether the catalogue has this id."""
    return _text(message_id) is not None


def translated(message_id: str, declared: str) -> str:
    """A label declared in English beside its fact, in the language spoken where that has it."""
    return catalogue(_SPOKEN.get()).get(message_id, declared) if _SPOKEN.get() != ENGLISH else declared


def codes(name: str) -> dict[str, str]:
    """Labels of a code list in the language spoken."""
    return {code: translated(f"code.{name}.{code}", label) for code, label in schema.codes(name).items()}


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
    """The cautions that stand in every output for people, in order; a translation stands beside the English."""
    out = []
    for key, english in sorted(catalogue().items()):
        if key.startswith("caution."):
            other = translated(key, english)
            out += [other, english] if other != english else [english]
    return out


def reason(code: str) -> str:
    """Words of a reason, fault or flag code; the code itself, with blanks, where none are written yet."""
    for family in ("reason", "fault", "flag", "not_chosen"):
        if says(f"{family}.{code}"):
            return say(f"{family}.{code}")
    return code.replace("_", " ")
