"""From the words of a header to concepts: abbreviations, glued and cut words, slips of the pen, several languages.

Concepts and their words stand in header_concepts.csv, short forms in header_short.csv. A word may stand for several
concepts (``stat``: static, or status); then each way of reading the header is kept.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product

from pipeline import schema
from pipeline.ingest.header_words import unit_of

_LONGEST_PHRASE = 4
_MOST_PIECES = 4
_MOST_READINGS = 40
# little words that are the start of a longer one where names are cut
_CUT_WORDS = frozenset({"per", "la", "lo", "us", "de", "wa", "st", "da", "el"})
_SHORTEST_PIECE = 3
_SHORTEST_CUT = 2
_SHORTEST_SLIP = 6
_CUT_AT = range(8, 12)
# a single letter left at the end where names are cut; a lone m is a unit even so
_CUT_LETTERS = frozenset("abcdefghijklnopqrstuvwxyz")
# of these the start of a longer word is one only there
_CUT_ONLY = frozenset({"la", "lo"})
# what is told of a well, not of its level: wl_no
_OF_WELLS = frozenset({"id", "no", "nbr", "nr", "num", "number", "name", "nm", "depth", "type", "use", "tag", "status"})
# NO3, SO4, HCO3: no number of anything
_FORMULA = re.compile(r"^(?:[A-Z][a-z]?){1,3}\d$")
_CASING_TOP = re.compile(r"btoc|below toc|casing top|top of casing|\btoc\b|_toc\b")
_REFERENCE = re.compile(r"mbrp|brp\b|reference point|reference level|measuring point|measurement point")
# a question in place of a name, and what it asks for
_QUESTION = re.compile(
    r"^\W*(?:what|which|how|when|quelle?s?|combien|cual(?:es)?|cuant[oa]s?|qual|quant[oa]s?|wie|wann)\b"
)
_ASKED = (
    (r"how many", "count"), (r"how (?:deep|far down) (?:is|was)", "depth"), (r"how (?:long|wide)", ""),
    (r"how much", ""), (r"combien de|cuant[oa]s|quant[oa]s", "count"), (r"when (?:was|were|is)", "date"),
    (r"(?:what|which) (?:is|was|are|were)|quelle?s? (?:est|sont)|cual(?:es)? (?:es|son)|qual [ée]|wie ist", ""),
    (r"\b(?:uses?|drinks? from|depends? on|rely on|relies on)\b(?=\s+(?:the|this|it|your))", "using"),
    (r"\b(?:this|that|there)\b", ""),
    (r"\bwater ?points?\b(?=\W*$)", "well"), (r"\b(?:drilled|constructed|built|completed)\b(?=\W*$)", "drilled"),
)  # fmt: skip
UNKNOWN = "?"
# what a word costs that is taken for an abbreviation, in words that are not known
_ABBREVIATED, _INFLECTED = 0.45, 0.1
_MOST_MEANT = 6
# words of two letters that may end or begin a glued word
_ENDINGS = frozenset({"no", "id", "wl", "dt", "cd", "hp", "nm", "to"})
_TAILS = {"va": "value", "cd": "code", "dt": "date", "nm": "name", "tx": "remark", "fl": "flag", "yn": "flag"}
# one letter is a unit only in brackets or at the end after something
_ONE_LETTER = frozenset("mhscdfl")


@dataclass(frozen=True)
class Header:
    """A header taken apart.

    Attributes
    ----------
    readings : tuple of (concepts, cost)
        Ways of reading it: concepts in order of the words, and how many words are not known; a word taken for an
        abbreviation counts in part.
    unit : str
        Unit written in it as pint reads it, "" when none; ``unit_text`` is how it is written.
    two_units : bool
        Two different units are written.
    datum : str
        casing_top, reference_point or "".
    """

    readings: tuple[tuple[tuple[str, ...], float], ...]
    unit: str = ""
    unit_text: str = ""
    two_units: bool = False
    datum: str = ""
    words: tuple[str, ...] = ()


_SIGNS = str.maketrans({"^": "", "³": "3", "²": "2", "ß": "ss", "µ": "u", "μ": "u"})


def folded(text: str) -> str:
    """Lower case without accents; signs that stand for letters or powers spelled out."""
    plain = unicodedata.normalize("NFKD", text.translate(_SIGNS))
    return "".join(sign for sign in plain if not unicodedata.combining(sign)).lower()


@cache
def kinds() -> dict[str, str]:
    """Kind of each concept: thing, turn, soft, datum, filler."""
    return {row["concept"]: row["kind"] for row in schema.rows("header_concepts")}


@cache
def vocabulary() -> dict[str, tuple[str, ...]]:
    """Phrases to the concepts they may stand for."""
    out: dict[str, tuple[str, ...]] = {}
    for row in schema.rows("header_concepts"):
        for phrase in row["words"].split("|"):
            out[phrase] = (*out.get(phrase, ()), row["concept"])
    return out


@cache
def _short() -> dict[str, str]:
    return {row["short"]: row["long"] for row in schema.rows("header_short")}


@cache
def _pieces() -> frozenset[str]:
    """Single words that may be part of a glued word."""
    single = {word for word in vocabulary() if " " not in word} | set(_short())
    return frozenset(w for w in single if len(w) >= _SHORTEST_PIECE)


@cache
def _by_start() -> dict[str, tuple[str, ...]]:
    out: dict[str, list[str]] = {}
    for word in sorted(_pieces()):
        for end in range(_SHORTEST_CUT, len(word)):
            out.setdefault(word[:end], []).append(word)
    return {start: tuple(words) for start, words in out.items()}


def tokens(header: str) -> list[str]:
    """Words of a header in lower case, without a question's number."""
    text = re.sub(r"^\s*(?:[Qq]?\d{1,3}[a-z]?[.):]\s*|[Qq]\d{1,3}[\s_]+)", "", header)
    text = re.sub(r"(?i)\b(adm|admin)_?(\d)\b", r"admin", text)
    text = re.sub(r"(?<![A-Za-z])pH(?![a-z])", "ph", text)
    text = re.sub(r"(?<![A-Za-z])[uµμmkd](?:S|W|Pa|L)(?![a-z])", lambda found: found[0].lower(), text)
    text = re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", text)
    text = re.sub(r"#|№|\bn[°º]\.?|\bno\.", " no ", text, flags=re.IGNORECASE)
    text = re.sub(r"%", " percent ", text).replace("@", " at ")
    text = re.sub(r"(?<=[A-Za-z])2(?=[A-Za-z]{3})", " to ", text)
    found = re.findall(r"[a-z0-9]+", folded(text))
    if len(found) == 1 and _FORMULA.match(header.strip()):
        return found
    return [piece for word in found for piece in _apart(word)]


def _apart(word: str) -> list[str]:
    """Letters and the figures behind them apart, unless they are a unit (m3)."""
    match = re.match(r"^([a-z]{2,})(\d{1,4})$", word)
    return [match[1], match[2]] if match and not unit_of(word) and word not in vocabulary() else [word]


def _close(word: str) -> str:
    """The one word of the vocabulary that is a slip away, "" when there is none."""
    near = {
        other for other in _pieces()
        if abs(len(other) - len(word)) <= 1 and other[0] == word[0] and len(other) >= _SHORTEST_SLIP
        and _one_slip(word, other)
    }  # fmt: skip
    meant = {vocabulary().get(other, ()) for other in near}
    return min(near) if len(meant) == 1 else ""


def _one_slip(left: str, right: str) -> bool:
    """Whether one letter put in, left out or changed, or two exchanged, parts two words."""
    if len(left) > len(right):
        left, right = right, left
    at = next((i for i, (a, b) in enumerate(zip(left, right, strict=False)) if a != b), len(left))
    if len(left) < len(right):
        return left[at:] == right[at + 1 :]
    swapped = left[at : at + 2] == right[at : at + 2][::-1] and left[at + 2 :] == right[at + 2 :]
    return left[at + 1 :] == right[at + 1 :] or swapped


@lru_cache(maxsize=20000)
def _parted(word: str, cut: bool) -> tuple[str, ...]:
    """A glued word as its known words; the last may be cut short where names are cut at ten letters."""
    found: list[tuple[int, tuple[str, ...]]] = []

    def search(rest: str, pieces: tuple[str, ...]) -> None:
        if not rest:
            found.append((len(pieces) * 2, pieces))
            return
        if len(pieces) >= _MOST_PIECES:
            return
        if rest in _ENDINGS and pieces:
            found.append((len(pieces) * 2 + 2, (*pieces, rest)))
        if unit_of(rest) and pieces and len(rest) > 1:
            found.append((len(pieces) * 2 + 2, (*pieces, rest)))
        if cut and pieces and rest in _by_start() and rest not in _pieces():
            found.append((len(pieces) * 2 + 3, (*pieces, rest)))
        if cut and pieces and len(rest) == 1 and rest in "fmi":
            found.append((len(pieces) * 2 + 4, pieces))
        for end in range(_SHORTEST_PIECE, len(rest) + 1):
            if rest[:end] in _pieces():
                search(rest[end:], (*pieces, rest[:end]))
        if pieces and rest.startswith("to") and len(rest) > _SHORTEST_PIECE:
            search(rest[2:], (*pieces, "to"))

    search(word, ())
    if not found:
        return ()
    fewest = min(cost for cost, _ in found)
    best = sorted({pieces for cost, pieces in found if cost == fewest}, key=lambda p: [-len(x) for x in p])
    return best[0]


def _words(found: list[str], cut: bool) -> list[str]:
    """Tokens with short forms written out, glued ones parted, cut ones and slips mended."""
    out: list[str] = []
    for place, word in enumerate(found):
        last = place == len(found) - 1
        if word == "wl" and found[place + 1 : place + 2] and found[place + 1] in _OF_WELLS:
            out.append("well")
        elif word in _short():
            out += _short()[word].split()
        elif word in vocabulary() or word.isdigit():
            out.append(word)
        else:
            out += [p for piece in _mended(word, cut, last) for p in _short().get(piece, piece).split()]
    return out


@lru_cache(maxsize=20000)
def _mended(word: str, cut: bool, last: bool) -> tuple[str, ...]:
    begun = {vocabulary().get(w) for w in _by_start().get(word, ())} if cut and last else set()
    if len(word) > _SHORTEST_PIECE and len(begun) == 1:
        return (min(_by_start()[word], key=lambda w: (len(w), w)),)
    glued = _parted(word, cut and (last or len(word) >= _CUT_AT.start)) if len(word) > _SHORTEST_PIECE else ()
    if glued:
        return glued
    if cut and word in _by_start() and len(word) >= _SHORTEST_PIECE - (1 if last else 0):
        meant = {vocabulary().get(w, ()) for w in _by_start()[word]}
        if len(meant) == 1 or len(word) >= _SHORTEST_PIECE:
            return (word,) if len(meant) > 1 else (min(_by_start()[word], key=lambda w: (len(w), w)),)
    if len(word) >= _SHORTEST_SLIP:
        close = _close(word)
        if close:
            return (close,)
    return (word,)


def _unit_out(found: list[str]) -> tuple[list[str], str, str, bool]:
    """Words without the unit among them, the unit, its text, and whether two are written."""
    spans: list[tuple[int, int, str]] = []
    place = 0
    while place < len(found):
        for size in (4, 3, 2, 1):
            piece = found[place : place + size]
            text = " ".join(piece)
            if len(piece) < size or (size == 1 and not _may_be_unit(found, place)):
                continue
            known = unit_of(text) if not (size > 1 and piece[-1] in _DATUM_WORDS) else ""
            if known:
                spans.append((place, size, known))
                place += size - 1
                break
        place += 1
    # a unit in front of other words is one only when nothing stands at the end (hours pumped)
    if not spans:
        return found, "", "", False
    named = {unit for _, _, unit in spans}
    start, size, unit = spans[-1]
    rest = [w for i, w in enumerate(found) if not any(s <= i < s + n for s, n, _ in spans)]
    if rest and rest[-1] in ("in", "per"):
        rest = rest[:-1]
    return rest, unit, " ".join(found[start : start + size]), len(named) > 1


# words that say from where a depth is counted; they may follow a unit
_DATUM_WORDS = frozenset({
    "ugok", "u", "gok", "nn", "ahd", "msl", "sol", "nap", "rp", "bgl",
    "bgs", "bls", "btoc", "toc", "asl", "amsl", "agl", "below", "above",
})  # fmt: skip
# words that are a unit only at the end, because they mean more than that
_ALSO_WORDS = frozenset({"in", "min", "deg", "dd", "us", "day", "days", "ls", "pa", "bar", "hour", "foot", "cms", "c",
                         "f", "ppt", "ph", "no", "w", "cv"})  # fmt: skip


def _may_be_unit(found: list[str], place: int) -> bool:
    word, last = found[place], place == len(found) - 1
    followed = not last and found[place + 1] in _DATUM_WORDS
    if len(word) == 1:
        return word in _ONE_LETTER and (last or followed) and place > 0
    if word in _ALSO_WORDS:
        return (last or followed) and place > 0
    return True


def _phrases(words: list[str], cut: bool) -> list[tuple[tuple[str, float], ...]]:
    """Concepts of the words, longest phrases first; each item lists the ways to read one phrase, with their cost."""
    out: list[tuple[tuple[str, float], ...]] = []
    place = 0
    while place < len(words):
        for size in range(min(_LONGEST_PHRASE, len(words) - place), 0, -1):
            known = vocabulary().get(" ".join(words[place : place + size]))
            if known:
                ends = cut and size == 1 and place == len(words) - 1
                ways = [(c, 0.0) for c in known if ends or words[place] not in _CUT_ONLY or kinds()[c] == "filler"]
                if ends and words[place] in _CUT_WORDS:
                    ways = [(c, _ABBREVIATED) for c in abbreviated(words[place], _SHORTEST_CUT)] + ways
                out.append(tuple(ways))
                place += size
                break
        else:
            shortest = _SHORTEST_CUT if cut and place == len(words) - 1 else _SHORTEST_PIECE
            found = [(c, _ABBREVIATED) for c in abbreviated(words[place], shortest)]
            out.append(tuple(_stem(words[place])) or (*found, (UNKNOWN, 1.0)))
            place += 1
    return out


def _stem(word: str) -> list[tuple[str, float]]:
    """Concepts of a word without the ending that English puts behind it."""
    for ending in ("s", "es", "ed", "d", "ing"):
        if word.endswith(ending) and len(word) - len(ending) >= _SHORTEST_PIECE + 1:
            known = vocabulary().get(word.removesuffix(ending))
            if known and not (ending == "ing" and "pump" in known):
                return [(concept, _INFLECTED) for concept in known]
    return []


@lru_cache(maxsize=20000)
def abbreviated(word: str, shortest: int = _SHORTEST_PIECE) -> tuple[str, ...]:
    """Concepts of the words that a word may be short for: their beginning, or their consonants."""
    if len(word) < shortest or not word.isalpha():
        return ()
    begun = [w for w in _by_start().get(word, ())]
    bones = _consonants(word)
    if not begun and bones == word and word[0] not in "aeiou":
        begun = [w for w in _pieces() if w[0] == word[0] and _consonants(w).startswith(bones) and len(w) > len(word)]
        if not begun:
            begun = [w for w in _pieces() if w[0] == word[0] and w[-1] == word[-1] and len(w) > len(word)
                     and _within(bones, _consonants(w))]  # fmt: skip
    found = dict.fromkeys(concept for w in sorted(begun) for concept in vocabulary().get(w, ()))
    return tuple(found) if len(found) <= (_MOST_MEANT if shortest == _SHORTEST_PIECE else 2 * _MOST_MEANT) else ()


def _consonants(word: str) -> str:
    return word[0] + re.sub(r"[aeiou]", "", word[1:])


def _within(short: str, long: str) -> bool:
    """Whether the letters of one word stand in another in this order."""
    rest = iter(long)
    return all(letter in rest for letter in short)


def _interval_ends(words: list[str]) -> list[str]:
    """``from`` and ``to`` as the ends of an interval where nothing follows, or before ``depth``."""
    out = list(words)
    for place, word in enumerate(words):
        followed = [w for w in words[place + 1 :] if w not in _DATUM_WORDS]
        ends = not followed or (place == 0 and followed[:1] == ["depth"] and len(words) <= 2)
        if word == "to":
            out[place] = "bottom" if ends else "to"
        elif word == "from" and not ends:
            out[place] = "of"
    return out


@lru_cache(maxsize=20000)
def parse(header: str, cut: bool = False) -> Header:
    """A header taken apart.

    Parameters
    ----------
    cut : bool
        Names of this table are cut at ten letters.
    """
    header = _asked(header)
    inner = " ".join(re.findall(r"[\(\[\{]([^)\]\}]*)[\)\]\}]?", header))
    outer = re.sub(r"[\(\[\{][^)\]\}]*[\)\]\}]?", " ", header) if inner else header
    bare, inside = tokens(outer), tokens(inner.lower())
    if cut and len(bare) > 1 and bare[-1] in _CUT_LETTERS and len(header.strip()) >= _CUT_AT.stop - 2:
        bare = bare[:-1]
    if not bare and inside:
        bare, inside = inside, []
    if len(bare) > 1 and bare[-1] in _TAILS and not (bare[-1] == "fl" and len(bare) > 3):
        bare[-1] = _TAILS[bare[-1]]
    while len(bare) > 1 and bare[-1].isdigit() and len(bare[-1]) <= 2:
        bare = bare[:-1]
    while len(bare) > 1 and bare[0].isdigit() and len(bare[0]) <= 2:
        bare = bare[1:]
    rest, unit, text, two = _unit_out(bare)
    within = unit_of(" ".join(inside)) if inside else ""
    if within:
        two = two or bool(unit and unit != within)
        unit, text, inside = within, " ".join(inside), [w for w in inside if w in _DATUM_WORDS]
    elif inside:
        inside, other, other_text, more = _unit_out(["", *inside])
        inside = [w for w in inside if w]
        if other:
            two, unit, text = two or more or bool(unit and unit != other), other, other_text
    words = _interval_ends(_words(rest, cut)) + _words([w for w in inside if w], cut)
    ways = _phrases(words, cut)
    condition = _condition(words) + _dated(words)
    readings: list[tuple[tuple[str, ...], float]] = []
    for way in list(product(*ways))[:_MOST_READINGS]:
        cost = condition + sum(each for _, each in way)
        kept = tuple(dict.fromkeys(c for c, _ in way if c != UNKNOWN and kinds()[c] != "filler"))
        if (kept, cost) not in readings:
            readings.append((kept, cost))
    everything = folded(header)
    at_top, at_mark = bool(_CASING_TOP.search(everything)), bool(_REFERENCE.search(everything))
    datum = "casing_top" if at_top else "reference_point" if at_mark else ""
    return Header(tuple(readings), unit, text, two, datum, tuple(words))


def _asked(header: str) -> str:
    """What a question asks for, in the words of a name; any other header as it is."""
    plain = re.sub(r"^\s*(?:[Qq]?\d{1,3}[a-z]?[.):]\s*|[Qq]\d{1,3}[\s_]+)", "", header)
    if not _QUESTION.match(folded(plain)):
        return header
    text = folded(plain)
    for pattern, word in _ASKED:
        text = re.sub(pattern, f" {word} ", text)
    return " ".join(re.findall(r"[^\s?]+", text))


def _condition(words: list[str]) -> float:
    """Cost of a header that names something unknown at a known rate or depth (``xyz at pumping rate``)."""
    if "at" not in words[1:-1]:
        return 0.0
    before = words[: words.index("at", 1)]
    return 0.0 if any(w in vocabulary() for w in before) else 2.0


def _dated(words: list[str]) -> float:
    """Cost of a year in a header: what held then need not be what the record of the well says."""
    return float(any(re.fullmatch(r"(19|20)\d\d", w) for w in words))


def cut_names(headers: tuple[str, ...]) -> bool:
    """Whether the names of a table look cut at ten letters, as a .dbf file has them."""
    lengths = [len(h.strip()) for h in headers]
    return len(lengths) > 2 and max(lengths) <= 11 and sum(n in (10, 11) for n in lengths) >= max(1, len(lengths) // 12)
