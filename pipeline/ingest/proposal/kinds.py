"""Tables of casing, screen and other strings in lines, one column of which says what each line is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pandas as pd

from pipeline.ingest.proposal.model import Evidence, Guess
from pipeline.ingest.proposal.place import Context
from pipeline.ingest.proposal.repeated import Filtered
from pipeline.ingest.proposal.unknown import Unknown, concepts_in, few, share_of_numbers

_MOST_KINDS = 40
# letters of a short list in which both casing and screen are told
_LETTERS = {"c": "casing", "s": "screen"}
_FIELDS = {
    "casing": {"diameter": "diameter_casing_inside_m", "bottom": "depth_casing_bottom_m"},
    "screen": {"top": "depth_screen_top_m", "bottom": "depth_screen_bottom_m"},
}
_NOT_OF_IT = {"seal", "geology", "hole"}
_Engine = Callable[[tuple[str, ...], pd.DataFrame, "list[str] | None", "dict[str, str] | None", Context], list[Guess]]


def kinds_of(texts: list[str]) -> dict[str, str]:
    """Casing or screen for each text that says so; single letters only where both are among them."""
    out: dict[str, str] = {}
    for text in texts:
        concepts = concepts_in(text)
        for kind in ("screen", "casing"):
            if kind in concepts and not concepts & _NOT_OF_IT and len(text) > 1:
                out[text] = kind
                break
    letters = {t: _LETTERS[t.lower()] for t in texts if t.lower() in _LETTERS}
    if not out and set(letters.values()) == {"casing", "screen"} and all(len(t) <= 2 for t in texts):
        return letters
    return out


def lines_by_kind(profile: Unknown, engine: _Engine, context: Context = Context()) -> Filtered | None:  # noqa: B008
    """The table as lines of casing and screen, None where no column says which is which."""
    kind_column, kinds = "", dict[str, str]()
    for header in profile.headers:
        texts = few(profile, header, _MOST_KINDS)
        if len(texts) >= 2 and share_of_numbers(profile, header) < 0.2:
            found = kinds_of(texts)
            if len(set(found.values())) > len(set(kinds.values())):
                kind_column, kinds = header, found
    if not kind_column:
        return None
    measures = [h for h in profile.headers if share_of_numbers(profile, h) >= 0.9
                and concepts_in(h) & {"top", "bottom", "diameter"}]  # fmt: skip
    ends = set().union(*(concepts_in(h) for h in measures)) if measures else set()
    if not {"top", "bottom"} <= ends or any(concepts_in(h) & {"casing", "screen"} for h in measures):
        return None
    out = Filtered((kind_column, *measures))
    for kind in sorted(set(kinds.values())):
        said = tuple(sorted(t for t, k in kinds.items() if k == kind))
        cells = profile.sample[kind_column].fillna("").astype("str").str.strip()
        asked = [h for h in measures if concepts_in(h) & set(_FIELDS[kind])]
        rows = profile.sample.loc[cells.isin(said), asked]
        named = tuple(f"{kind} {h}" for h in asked)
        units = [profile.units[profile.headers.index(h)] for h in asked] if profile.units else None
        guesses = engine(named, rows.set_axis(list(named), axis=1).reset_index(drop=True), units, None, context)
        for header, guess in zip(asked, guesses, strict=True):
            name = next(f for end, f in _FIELDS[kind].items() if end in concepts_in(header))
            if name in out.where:
                continue
            told = Evidence("values", f"'{kind_column}' says {', '.join(map(repr, said[:3]))}", 3.0)
            read = replace(guess, header=header, evidence=[told, *guess.evidence])
            if guess.field != name:
                # the words of the header say which end it is; the values were taken for something else
                read = replace(read, field=name, field_score=0.7, score=0.7 * guess.unit_score, runner_up=guess.field,
                               why_not="the evidence is too thin")  # fmt: skip
            out.guesses.append(read)
            out.where[name] = {kind_column: said}
    return out if out.guesses else None
