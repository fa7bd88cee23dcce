"""What a proposal is made of: guesses a column with their evidence, tables, questions, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as attribute

# fields that decide the length of the pipe: a wrong one is worse than none
DECIDING = ("depth_drilled_m", "depth_completed_m", "depth_static_m", "depth_pumping_m", "depth_pump_m",
            "length_drop_pipe_m", "flow_tested_m3_per_s", "diameter_casing_inside_m")  # fmt: skip
DEPTHS = DECIDING[:6]


@dataclass(frozen=True)
class Evidence:
    """One reason for or against a reading.

    Attributes
    ----------
    kind : str
        header, units_row, dictionary, unit_column, values, relation, table, place.
    text : str
        For people, such as ``header says ft`` or ``45 < depth 240 in 98 % of 1,204 rows``.
    weight : float
        Natural logarithm of the odds that it adds.
    """

    kind: str
    text: str
    weight: float = 0.0


@dataclass
class Guess:
    """What one column is taken to be.

    Attributes
    ----------
    header : str
        Unique raw name.
    field, unit : str
        Canonical field ("" when none) and unit as pint reads it ("" where the field takes none or none is known).
    score : float
        Calibrated chance that field and unit are right, 0 to 1; see ``tests/benchmarks/unseen.py``.
    field_score, unit_score : float
        The same for the field alone, and for the unit given the field.
    evidence : list of Evidence
        Strongest first.
    runner_up : str
        Next likely reading, ``field`` or ``field in unit``; "" when there is none.
    why_not : str
        What keeps it from being applied without asking; "" when nothing does.
    below_casing_top : bool
        Levels are counted from the casing top.
    unit_from : str
        Header of the column that holds the unit row by row.
    date_order : str
        Of a date column: ymd, dmy or mdy.
    samples : list of (raw, reading)
        Three of the column's own values and how they are read.
    codes : dict
        Raw texts and the code each is taken for, beyond the declared spellings.
    unit_written : bool
        The unit stands in the file; else place, neighbours and values tell it.
    """

    header: str
    field: str = ""
    unit: str = ""
    score: float = 0.0
    field_score: float = 0.0
    unit_score: float = 0.0
    evidence: list[Evidence] = attribute(default_factory=list)
    runner_up: str = ""
    runner_up_score: float = 0.0
    why_not: str = ""
    below_casing_top: bool = False
    unit_from: str = ""
    date_order: str = ""
    samples: list[tuple[str, str]] = attribute(default_factory=list)
    codes: dict[str, str] = attribute(default_factory=dict)
    unit_written: bool = False

    @property
    def sure(self) -> bool:
        """Whether the column may be used without asking."""
        return bool(self.field) and not self.why_not


@dataclass
class TableProposal:
    """One table: its role and guesses.

    Attributes
    ----------
    name, file : str
    headers : tuple of str
        Unique names of all columns.
    role : str
        wells, child, or "" where the table is of no use for the job.
    id : tuple of str
        Raw columns of the well id; empty: the record number serves.
    rows : int
        Records, counted or estimated (``rows_exact`` tells).
    pick : dict of field -> first, last, min, max
        Child tables: which value of several rows of a well.
    link : str
        How it was found to belong, for people: ``98 % of its well_no are well_id of wells.csv``.
    order_by : str
        Child tables: raw column by which rows of a well are put in order before ``pick`` first or last.
    where : dict of field -> {raw header: raw texts}
        Rows of which alone the value of a field is taken, as where one column names what was measured.
        There a header may stand in several guesses, one a field.
    reasons : dict of field -> str
        Why that value is picked, for people.
    missing : dict of raw header -> texts
        Words that stand for missing in that column, found by their distance from all else.
    files : tuple of str
        All files of these headers; ``file`` is the first.
    why : str
        What keeps the table from being of use, where ``role`` is "".
    """

    name: str
    file: str
    headers: tuple[str, ...]
    guesses: list[Guess]
    role: str = "wells"
    id: tuple[str, ...] = ()
    rows: int = 0
    rows_exact: bool = True
    pick: dict[str, str] = attribute(default_factory=dict)
    link: str = ""
    units_row: bool = False
    order_by: str = ""
    where: dict[str, dict[str, tuple[str, ...]]] = attribute(default_factory=dict)
    reasons: dict[str, str] = attribute(default_factory=dict)
    missing: dict[str, tuple[str, ...]] = attribute(default_factory=dict)
    files: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True)
class Question:
    """What the user could tell; worth so many rows.

    Attributes
    ----------
    text : str
        One sentence that ends in a question mark.
    table, header, key : str
        Where the answer goes: table, raw column, key of the layout (``unit``, ``from``, ``date_order``).
    choices : tuple of str
        Likely answers, the likeliest first.
    rows : int
        Rows whose result rests on it.
    """

    text: str
    table: str
    header: str
    key: str
    choices: tuple[str, ...] = ()
    rows: int = 0


@dataclass
class Proposal:
    """All tables of one source, why they do not suffice (empty: they do), what to ask, what is missing.

    Attributes
    ----------
    missing : list of (field, text)
        Fields the job uses that no column tells, and what is assumed instead.
    market : str
        us or metric, "" when nothing tells.
    source_id : str
        Under which the tables would be read.
    crs, area : str
        Reference system of the coordinates, and state or country, where something tells; "" otherwise.
    edition_of : str
        Id of the source of the same set whose wells these are too, in another form.
    """

    tables: list[TableProposal]
    doubts: list[str] = attribute(default_factory=list)
    questions: list[Question] = attribute(default_factory=list)
    missing: list[tuple[str, str]] = attribute(default_factory=list)
    market: str = ""
    date_order: str = "ymd"
    source_id: str = ""
    crs: str = ""
    area: str = ""
    edition_of: str = ""

    @property
    def wells(self) -> TableProposal:
        """The table of role wells."""
        return next(table for table in self.tables if table.role == "wells")

    @property
    def certain(self) -> bool:
        """Whether the tables may be read as proposed."""
        return not self.doubts
