"""Tables that describe other tables: columns in prose, and lists of codes with what they stand for."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import pandas as pd

from pipeline.ingest.header_words import unit_of
from pipeline.ingest.intake import folded
from pipeline.ingest.proposal.unknown import Unknown, share_of_numbers, words_in

# a name that is told in fewer rows than this may be chance
_FEWEST = 3
_SHARE = 0.5
_BEST = 0.75
_PROSE_WORDS = 1.8
_MOST_CODES = 60
_NAMING = {"column", "variable", "field", "attribute", "element"}
_TELLING = {"description", "definition", "meaning", "label", "explanation", "comment", "notes", "describes", "title",
            "desc"}
_CODED = {"code", "codes", "value", "values", "option", "options", "choice", "level", "domain", "abbreviation"}
_PAIRS = re.compile(r"(?:^|[;:,|(\n]|\.\s)\s*([A-Za-z0-9]{1,8})\s*(?:=|:|–|—|\s-\s)\s*([^;,|=\n)]+)")


@dataclass
class Described:
    """What sister tables say of one table.

    Attributes
    ----------
    columns : dict of header -> prose
        Label, description and unit, as one text.
    codes : dict of header -> {code: label}
    by : list of str
        Names of the tables that say it.
    """

    columns: dict[str, str] = field(default_factory=dict)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    by: list[str] = field(default_factory=list)


@dataclass
class Sister:
    """A table that describes others, as it would be told in the ledger.

    Attributes
    ----------
    columns_of, codes_of : list of str
        Names of the tables described; both empty where the table it describes is not at hand.
    """

    place: int
    columns_of: list[str] = field(default_factory=list)
    codes_of: list[str] = field(default_factory=list)

    def reason(self) -> str:
        """Why it is not read, in words."""
        parts = []
        if self.columns_of:
            parts.append(f"the columns of {', '.join(self.columns_of)}")
        if self.codes_of:
            parts.append(f"the codes of {', '.join(self.codes_of)}")
        return f"Describes {' and '.join(parts) or 'the columns of a table that was not given'}."


def _words(texts: pd.Series) -> float:
    return float(texts.str.count(r"[A-Za-z]{2,}").mean()) if len(texts) else 0.0


def _column_of_names(profile: Unknown, headers: dict[str, str]) -> tuple[str, float]:
    """The column whose values are names of ``headers``, and the larger of both shares."""
    best, top = "", 0.0
    for header in profile.headers:
        values = profile.named(header)
        common = len(values & set(headers))
        if common < min(_FEWEST, len(headers)) or common < 2:
            continue
        share = max(common / len(headers), common / len(values))
        if share > top:
            best, top = header, share
    return best, top


def _prose(profile: Unknown, apart: str) -> list[str]:
    """Columns of words, those called description or label first."""
    found = []
    for place, header in enumerate(profile.headers):
        texts = profile.values(header)
        if header == apart or len(texts) < 2 or share_of_numbers(profile, header) > 0.5:
            continue
        named = bool(set(words_in(header)) & _TELLING)
        if named or (_words(texts) >= _PROSE_WORDS and texts.nunique() > 0.4 * len(texts)):
            found.append((not named, -_words(texts), place, header))
    return [header for *_, header in sorted(found)]


def _units_column(profile: Unknown, apart: list[str]) -> str:
    for header in profile.headers:
        texts = profile.values(header)
        if header in apart or not len(texts) or "unit" not in " ".join(words_in(header)):
            continue
        if texts.map(lambda t: bool(unit_of(t))).mean() >= 0.2 or "type" not in words_in(header):
            return header
    return ""


def _codes_columns(profile: Unknown, names: str) -> tuple[str, str]:
    """Columns of codes and of what each stands for; "" where there are none."""
    coded = [h for h in profile.headers if h != names and set(words_in(h)) & _CODED
             and profile.values(h).str.len().median() <= 8] if len(profile.sample) else []  # fmt: skip
    for code in coded:
        rest = [h for h in profile.headers if h not in (names, code)]
        labels = [h for h in rest if set(words_in(h)) & _TELLING and set(words_in(h)) & _CODED]
        labels += [h for h in rest if set(words_in(h)) & _TELLING and h not in labels]
        if labels:
            return code, labels[0]
    return "", ""


def shaped_as_dictionary(profile: Unknown) -> bool:
    """Whether a table says of names, one a row, in words what they are, whatever table has them."""
    names = [h for h in profile.headers if set(words_in(h)) & _NAMING]
    tells = [h for h in profile.headers if set(words_in(h)) & _TELLING]
    if not names or not tells or len(profile.headers) > 12:
        return False
    texts = profile.values(names[0])
    plain = texts.str.fullmatch(r"[A-Za-z_][\w .()/%-]{0,60}").mean() if len(texts) else 0.0
    return bool(plain >= 0.8 and max(_words(profile.values(h)) for h in tells) >= _PROSE_WORDS)


def _fill_down(profile: Unknown, header: str) -> pd.Series:
    text = profile.sample[header].fillna("").astype("str").str.strip()
    return text.mask(text == "").ffill().fillna("")


def _cells(profile: Unknown, header: str) -> pd.Series:
    return profile.sample[header].fillna("").astype("str").str.strip()


def pairs_in(prose: str) -> dict[str, str]:
    """Codes and labels written in prose: ``1 = borehole; 2 = dug well``; none when fewer than two."""
    found = {code: label.strip(" .\"'") for code, label in _PAIRS.findall(prose)}
    return found if len(found) >= 2 else {}


def describe(
    unknown: list[Unknown], targets: list[tuple[str, tuple[str, ...], Unknown | None]]
) -> tuple[dict[str, Described], list[Sister]]:
    """Which of the unknown tables describe which others.

    Parameters
    ----------
    unknown : list of Unknown
    targets : list of (name, headers, profile or None)
        All tables of the set, known ones without a profile.

    Returns
    -------
    dict of name -> Described, list of Sister
    """
    out: dict[str, Described] = {}
    sisters = []
    shares: dict[tuple[int, int], tuple[str, float]] = {}
    for place, profile in enumerate(unknown):
        for number, (_, headers, other) in enumerate(targets):
            if other is not profile and len(headers) >= 2:
                shares[place, number] = _column_of_names(profile, {folded(h): h for h in headers})
    for place, profile in enumerate(unknown):
        sister = Sister(place)
        for number, (name, headers, _) in enumerate(targets):
            names, share = shares.get((place, number), ("", 0.0))
            best = max((s for (_, n), (_, s) in shares.items() if n == number), default=0.0)
            # where several could describe it, those that name few of its columns are of another table
            if not names or share < max(_SHARE, _BEST * best):
                continue
            known = {folded(h): h for h in headers}
            prose = _prose(profile, names)
            code, label = _codes_columns(profile, names)
            if not prose and not code:
                continue
            told = out.setdefault(name, Described())
            _take(profile, names, [h for h in prose if h not in (code, label)][:3], known, told)
            if code:
                _take_codes(profile, names, code, label, known, told)
            told.by.append(profile.name)
            sister.columns_of.append(name)
        if sister.columns_of or shaped_as_dictionary(profile):
            sisters.append(sister)
    apart = {s.place for s in sisters}
    for place, profile in enumerate(unknown):
        if place in apart:
            continue
        sister = Sister(place)
        for name, _, other in targets:
            if other is not None and other is not profile:
                header, labels = _list_of_codes(profile, other)
                if header:
                    told = out.setdefault(name, Described())
                    told.codes[header] = labels
                    told.by.append(profile.name)
                    sister.codes_of.append(f"'{header}' in {name}")
        if sister.codes_of:
            sisters.append(sister)
    return out, sorted(sisters, key=lambda s: s.place)


def _take(profile: Unknown, names: str, prose: list[str], known: dict[str, str], told: Described) -> None:
    """Join the prose and the unit of each described column."""
    unit = _units_column(profile, [names, *prose])
    parts = [_cells(profile, h) for h in prose]
    units = _cells(profile, unit) if unit else None
    for row, name in enumerate(_cells(profile, names)):
        header = known.get(folded(name))
        if header is None or header in told.columns:
            continue
        text = ". ".join(dict.fromkeys(t for p in parts if (t := p.iloc[row]) and t not in ("-", "NA")))
        if units is not None and unit_of(units.iloc[row]):
            text += f" [{units.iloc[row].strip(' ()[]')}]"
        if text:
            told.columns[header] = text
            written = pairs_in(text)
            if written:
                told.codes.setdefault(header, written)


def _take_codes(
    profile: Unknown, names: str, code: str, label: str, known: dict[str, str], told: Described
) -> None:  # fmt: skip
    """Codes of each described column, its name written once or in every row."""
    owner, codes, labels = _fill_down(profile, names), _cells(profile, code), _cells(profile, label)
    for name, one, text in zip(owner, codes, labels, strict=True):
        header = known.get(folded(name))
        if header and one and text and one != "-" and len(one) <= 16:
            told.codes.setdefault(header, {}).setdefault(one, text)
    for header in [h for h, found in told.codes.items() if len(found) < 2]:
        del told.codes[header]


def _list_of_codes(profile: Unknown, other: Unknown) -> tuple[str, dict[str, str]]:
    """The column of ``other`` whose values a short list of two or three columns spells out."""
    if not 2 <= len(profile.headers) <= 4 or not 2 <= profile.rows <= 400:
        return "", {}
    short = [h for h in profile.headers if len(v := profile.values(h)) and v.is_unique and v.str.len().median() <= 6]
    best: tuple[float, str, dict[str, str]] = (0.0, "", {})
    for code in short:
        rest = [h for h in profile.headers if h != code and len(profile.values(h)) >= 0.8 * len(profile.sample)]
        labels = [h for h in rest if share_of_numbers(profile, h) < 0.2 and profile.values(h).is_unique]
        if not labels:
            continue
        listed = dict(zip(_cells(profile, code), _cells(profile, labels[-1]), strict=True))
        plain = {_plain(c): t for c, t in listed.items() if c and t}
        for header in other.headers:
            values = other.values(header)
            distinct = {_plain(v) for v in values.unique()} if len(values) else set()
            # a column of codes repeats them; one that does not is an id, and the list a table of the same things
            if not 2 <= len(distinct) <= _MOST_CODES or (len(values) > 8 and len(distinct) > 0.6 * len(values)):
                continue
            share = len(distinct & set(plain)) / len(distinct)
            akin = bool(set(words_in(header)) & set(words_in(code)) - _CODED) or folded(header) == folded(code)
            if share >= 0.8 and (akin or not all(v.isdigit() for v in distinct)):
                score = share + akin
                if score > best[0]:
                    found = {v: plain[_plain(v)] for v in values.unique() if _plain(v) in plain}
                    best = score, header, found
    return best[1], best[2]


def _plain(text: str) -> str:
    return re.sub(r"^(\d+)\.0+$", r"\1", text.strip().casefold())


def decoded(sample: pd.DataFrame, codes: dict[str, dict[str, str]]) -> pd.DataFrame:
    """The sample with codes replaced by what they stand for, so that values can be understood."""
    if not codes:
        return sample
    out = sample.copy()
    for header, labels in codes.items():
        if header in out:
            plain = {_plain(c): t for c, t in labels.items()}
            text = out[header].fillna("").astype("str")
            out[header] = text.map(lambda t, known=plain: known.get(_plain(t), t)).astype("str")
    return out
