"""What people read of a run: one self-contained page, and the closing lines on the terminal."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline import io, words
from pipeline.report import ahead, answers, opening, reasons, site
from pipeline.report.facts import Facts
from pipeline.report.summary import last_lines

__all__ = ["last_lines", "page", "write_region", "write_report"]

SECTIONS = (
    opening.asked, opening.ledger, opening.records, answers.families, answers.places, answers.material, ahead.years,
    reasons.governs, reasons.why_not, reasons.flags, site.lifting, site.local, reasons.practice, reasons.look_first,
    reasons.method,
)  # fmt: skip


def write_report(folder: Path, units: str = "us", language: str = words.ENGLISH) -> None:
    """Write ``report.html``: one page without script, network or outside file.

    Parameters
    ----------
    folder : Path
        Run folder with its Parquet tables and, where there is one, its manifest.
    units : str
        Units shown, ``us`` or ``metric``.
    language : str
        Language of the page; what its catalogue lacks is said in English, cautions always also in English.

    Raises
    ------
    UsageError
        When the folder holds no table ``selection``, or ``units`` or ``language`` is not known.

    Notes
    -----
    Made from sums by SQL over the Parquet, so that its cost hardly grows with the wells. The same
    tables and manifest give the same bytes.
    """
    with words.language(language), Facts(Path(folder), units) as facts:
        content = page(_built(SECTIONS, facts))
    io.write_text(Path(folder) / "report.html", content)


REGION_SECTIONS = (
    opening.records, answers.families, answers.places, answers.material, ahead.years, reasons.governs,
    reasons.why_not, reasons.flags, site.lifting, site.local, reasons.practice, reasons.look_first, reasons.method,
)  # fmt: skip


def _built(builders: Sequence[Callable[[Facts], dict[str, object] | None]], facts: Facts) -> list[dict[str, object]]:
    """Sections that have something to say."""
    return [section for section in (build(facts) for build in builders) if section is not None]


def write_region(folder: Path, region: str, units: str = "us", language: str = words.ENGLISH) -> Path:
    """Write ``regions/<region>.html``: the report of one region of a run.

    Parameters
    ----------
    folder : Path
        Run folder.
    region : str
        Name as in ``demand``: "Area / Region".
    units, language : str
        As in :func:`write_report`.

    Returns
    -------
    Path
        The page; letters and digits of the region's name make its file name, with a few of its hash.

    Raises
    ------
    UsageError
        When no well lies in that region.
    """
    with words.language(language), Facts(Path(folder), units, region) as facts:
        content = page(_built(REGION_SECTIONS, facts), region)
    plain = re.sub(r"[^a-z0-9]+", "_", region.lower()).strip("_")[:60]
    path = Path(folder) / "regions" / f"{plain}_{hashlib.sha256(region.encode()).hexdigest()[:6]}.html"
    io.write_text(path, content)
    return path


def page(sections: list[dict[str, object]], title: str = "") -> str:
    """The page from its sections; every word and value is escaped by the template engine."""
    import jinja2
    from markupsafe import Markup

    here = Path(__file__).parent
    style = (here / "style.css").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(here), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.globals["say"] = words.say
    return environment.get_template("page.html.j2").render(
        sections=sections, cautions=words.cautions(), style=Markup(style), policy=policy, place=title,
        language=words.spoken(),
    )
