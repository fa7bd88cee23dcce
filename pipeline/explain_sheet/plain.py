"""The page of one well: sections of sentences, lists and tables, as plain data that text and HTML both show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pipeline import schema, words
from pipeline.explain_sheet import tables
from pipeline.explain_sheet.amounts import amount, by_check, by_unit, option_words
from pipeline.install import sentences
from pipeline.settings import Settings

Content = dict[str, list[dict[str, Any]]]
Section = dict[str, Any]
SEVERITY = ("stop", "caution", "note")


def section(name: str, *, items: Sequence[str] = (), table: dict[str, Any] | None = None) -> Section | None:
    """A section with its heading; None where there is nothing to say."""
    if not items and not (table and table["rows"]):
        return None
    return {"id": name, "title": words.say(f"explain.{name}"), "items": list(items), "table": table}


def page(content: Content, units: str, settings: Settings | None = None) -> dict[str, Any]:
    """The page of a well.

    Parameters
    ----------
    content : dict
        From sheet.of_run or sheet.of_values.
    units : str
        us or metric.
    settings : Settings, optional
        Limits and names that sentences mention.

    Returns
    -------
    dict
        title, and sections: id, title, items (sentences), table (caption, headers, rows, numbers) or None.
    """
    settings = settings or Settings()
    well = content["wells"][0]

    def bill(content: Content, units: str) -> Section | None:
        return tables.goods(content, units, settings)

    def plan(content: Content, units: str) -> Section | None:
        return install(content, units, settings)

    def practice(content: Content, units: str) -> Section | None:
        return practice_and_physics(content, units, settings)

    builders: tuple[Callable[[Content, str], Section | None], ...] = (
        answer, why_not, dangers, practice, tables.record, tables.design, bill, plan, local,
        measure, tables.calculation, tables.checks, tables.others, sources, cautions,
    )  # fmt: skip
    return {
        "title": words.say("explain.title", well=well["well_id"], source=well["source_id"]),
        "sections": [found for build in builders if (found := build(content, units))],
    }


def _chosen(content: Content) -> dict[str, Any] | None:
    wanted = content["selection"][0]["option_id"]
    return next((o for o in content["options"] if o["option_id"] == wanted), None)


def answer(content: Content, units: str) -> Section | None:
    """What to take and why, in ten lines."""
    choice, point = content["selection"][0], content["design"][0]
    outcome = schema.codes("outcome")[choice["outcome_code"]]
    grade = choice["grade_code"]
    about = {row["code"]: row for row in schema.rows("rules")}
    # a danger that stops the work stands above every recommendation
    out = [words.say("explain.stop_first", title=about[r["code"]]["title"], action=about[r["code"]]["action"])
           for r in content["risks"] if r["severity_code"] == "stop" and r["applies_to_code"] != "family"]  # fmt: skip
    out.append(words.say("explain.outcome", outcome=outcome, grade=grade, about=schema.codes("grade")[grade]))
    out.append(_setting(point, units))
    if choice["option_id"] is None:
        return section("answer", items=[*out, words.say("explain.none", outcome=outcome)])
    out.append(words.say("explain.head", head=amount("head_m", choice["head_total_dynamic_m"], units),
                         flow=amount("flow_m3_per_s", choice["flow_duty_m3_per_s"], units),
                         pressure=amount("pressure_pa", choice["pressure_running_pa"], units)))  # fmt: skip
    out.append(words.say("explain.take", option=option_words(choice["option_id"]),
                         length=amount("length_drop_pipe_m", choice["length_drop_pipe_m"], units),
                         pieces=int(choice["piece_count"] or 1)))  # fmt: skip
    governs = next(r["title"] for r in schema.rows("checks") if r["check_code"] == choice["governs_check_code"])
    out.append(words.say("explain.governs", check=governs.lower(), share=f"{choice['utilisation_max_fraction']:.0%}"))
    if choice["choice_share_fraction"] is not None:
        out.append(words.say("explain.firm", share=f"{choice['size_share_fraction']:.0%}",
                             family=f"{choice['family_share_fraction']:.0%}"))  # fmt: skip
    out += _flips(choice, units)
    out.append(words.say("explain.install", method=schema.codes("install_method")[choice["install_method_code"]],
                         lowered=amount("mass_lowered_kg", choice["mass_lowered_kg"], units),
                         pulled=amount("load_pulling_n", choice["load_pulling_n"], units)))  # fmt: skip
    if choice["cost_first"] is not None:
        out.append(words.say("explain.cost", first=f"{choice['cost_first']:,.0f}",
                             present=f"{choice['cost_present']:,.0f}", currency=choice["currency"]))  # fmt: skip
    else:
        out.append(words.say("explain.no_price"))
    others = [option_words(choice[n]) for n in ("alternate_1_option_id", "alternate_2_option_id") if choice[n]]
    out += [words.say("explain.alternate", option=text) for text in others] or [words.say("explain.no_alternate")]
    return section("answer", items=out)


def _setting(point: dict[str, Any], units: str) -> str:
    """Where the pump hangs and what set it there."""
    code = point["setting_limited_code"] or "none"
    why = schema.codes("basis").get(point["depth_pump_basis_code"] or "", "-")
    if code not in ("none", "recorded"):
        why += f"; {schema.codes('setting_limit').get(code, code)}"
    return words.say("explain.setting", pump=amount("depth_m", point["depth_pump_m"], units), why=why,
                     level=amount("depth_m", point["depth_pumping_m"], units))  # fmt: skip


def _flips(choice: dict[str, Any], units: str) -> list[str]:
    """Which input would turn the choice, as far as the run tells; and whether the ends of the bands keep it."""
    out = []
    held = [choice.get("choice_holds_low"), choice.get("choice_holds_high")]
    if None not in held:
        which = ("both", "low", "high", "neither")[{(True, True): 0, (True, False): 1, (False, True): 2}.get(
            (bool(held[0]), bool(held[1])), 3)]  # fmt: skip
        out.append(words.say(f"explain.holds_{which}"))
    told = [c.field for c in schema.table("selection") if c.field.name.startswith("flip_")]
    flips = [text for field in told for text in tables.told(field, choice, units)]
    return [*out, "; ".join(flips)] if flips else out


def why_not(content: Content, units: str) -> Section | None:
    """One sentence for each family not chosen."""
    about = {row["check_code"]: row for row in schema.rows("checks")}
    currency = content["selection"][0]["currency"] or ""
    out = []
    for row in content["not_chosen"]:
        family, check = schema.codes("family")[row["family_code"]], row["check_code"]
        if row["reason_code"] == "limit" and check:
            if row["unit"] == "1" and not row["have"]:  # fit or not: no figure tells more
                out.append(words.say("explain.unfit", family=family, why=about[check]["why"]))
                continue
            sides = {side: by_check(check, row[side], row["unit"], units) for side in ("need", "have")}
            out.append(words.say("explain.limit", family=family, option=option_words(row["option_id"]),
                                 check=about[check]["title"].lower(), **sides))  # fmt: skip
        elif row["reason_code"] == "not_on_market":
            out.append(words.say("explain.absent", family=family))
        elif row["reason_code"] not in ("cost", "penalty"):
            out.append(words.say("explain.unfit", family=family, why=words.reason(row["reason_code"])))
        else:
            extra = f"{row['cost_extra'] or 0:,.0f} {currency}".strip()
            out.append(words.say("explain.dearer", family=family, option=option_words(row["option_id"]), extra=extra,
                                 why=words.reason(row["reason_code"])))  # fmt: skip
    return section("why_not", items=out)


def dangers(content: Content, units: str) -> Section | None:
    """Flags, the gravest first."""
    about = {row["code"]: row for row in schema.rows("rules")}
    out = []
    for row in sorted(content["risks"], key=lambda r: (SEVERITY.index(r["severity_code"]), r["code"])):
        rule = about[row["code"]]
        value, limit = (by_unit(row[side], row["unit"], units) for side in ("value", "limit"))
        seen = f" ({words.say('explain.seen', value=value, limit=limit)})" if "-" not in (value, limit) else ""
        turns = f" {words.say('explain.turns')}" if row.get("would_change_choice") else ""
        # a rule's sentence ends in a full stop of its own
        out.append(f"{row['severity_code'].upper()} {row['code']} {rule['title']}{seen}: {rule['action']}{turns}")
    return section("flags", items=out or [words.say("explain.no_flags")])


def practice_and_physics(content: Content, units: str, settings: Settings) -> Section | None:
    """Where the head bands of the trade and the calculation part, family by family."""
    choice = content["selection"][0]
    head = choice["head_total_dynamic_m"]
    if choice["practice_note_code"] is None or head is None:
        return None
    titles = {row["check_code"]: row["title"].lower() for row in schema.rows("checks")}
    bands = {name: settings.base(f"band_head_{name}") for name in schema.codes("family")
             if f"band_head_{name}" in settings.practice}  # fmt: skip
    here = amount("head_m", head, units)
    out = []
    for row in content["not_chosen"]:
        name = row["family_code"]
        if row["check_code"] and head <= bands.get(name, 0.0):
            band = amount("head_m", bands[name], units)
            out.append(words.say("explain.practice_stricter", family=schema.codes("family")[name], head=here, band=band,
                                 check=titles[row["check_code"]]))  # fmt: skip
    own = choice["family_code"]
    if head > bands.get(own, head):
        out.append(words.say("explain.practice_past", family=schema.codes("family")[own], head=here,
                             band=amount("head_m", bands[own], units),
                             share=f"{choice['utilisation_max_fraction']:.0%}"))  # fmt: skip
    return section("practice", items=out or [words.say("explain.practice_agrees", head=here)])


def _rest(content: Content, names: Sequence[str], units: str) -> list[str]:
    """Rows of tables by their declaration, each value with its words: what a run tells beside all the above."""
    shown = {column.field.name for column in schema.table("selection")}
    out = []
    for name in names:
        fields = {c.field.name: c.field for c in schema.table(name) if not c.is_key and c.field.name not in shown}
        for row in content.get(name, []):
            out += [text for field in fields.values() for text in tables.told(field, row, units)]
    return out


def install(content: Content, units: str, settings: Settings) -> Section | None:
    """How it goes in: the plan of the run; without one, what holds for every well."""
    choice = content["selection"][0]
    if choice["option_id"] is None:
        return None
    planned = _rest(content, [n for n in content if n.startswith("install")], units)
    if planned:
        codes = [row["install_note_codes"] for row in content["install_plan"] if row.get("install_note_codes")]
        return section("plan", items=[*planned, *(t for text in codes for t in sentences(text, settings, units))])
    people = words.say(f"explain.people_{choice['install_method_code']}")
    piece = amount("mass_piece_kg", choice["mass_piece_kg"], units)
    out = [words.say("explain.pieces", people=people, piece=piece, joints=int(choice["joint_count"] or 0))]
    if choice["family_code"] in ("pe", "pex"):
        out.append(words.say("explain.cold_coil"))
    return section("plan", items=[*out, *(words.say(f"explain.plan_{n}") for n in
                                          ("power", "lock_out", "disinfect", "torque"))])  # fmt: skip


def local(content: Content, units: str) -> Section | None:
    """Rules of the place: what the run judged, else those on file for the place of the well."""
    about = {row["rule_id"]: row for row in schema.rows("jurisdiction")}
    titles = {row["reference_id"]: f"{row['title']} {row['place']}".strip() for row in schema.rows("references")}
    out = []
    for name in (n for n in content if n.startswith(("local", "jurisdiction"))):
        fields = [c.field for c in schema.table(name) if c.field.name not in ("source_id", "well_id", "rule_id")]
        for row in content[name]:
            rule = about.get(row.get("rule_id", ""))
            judged = "; ".join(text for field in fields for text in tables.told(field, row, units))
            said = f"{rule['sentence']} [{titles.get(rule['reference_id'], rule['reference_id'])}]" if rule else ""
            out.append(" ".join(part for part in (said, judged) if part))
    if not out:
        place = str(content["wells"][0].get("area_code") or "").rpartition("-")[2]
        out = [f"{row['sentence']} [{titles.get(row['reference_id'], row['reference_id'])}]"
               for row in about.values() if place and row["area_code"].rpartition("-")[2] == place]  # fmt: skip
    return section("local", items=[*out, words.say("explain.local_decides" if out else "explain.no_local")])


def measure(content: Content, units: str) -> Section | None:
    """What to find out about this well before it is ordered."""
    names = schema.codes("measurement")
    out = [
        words.say("explain.find_out", what=names.get(row["measurement_code"], "-"),
                  stake=amount("length_at_stake_m", row["length_at_stake_m"], units))
        for row in content.get("measure_first", [])
    ]  # fmt: skip
    return section("measure", items=out or [words.say("explain.no_measure")])


def sources(content: Content, units: str) -> Section | None:
    """The sources that the sheet names, in full."""
    del units
    checks = {row["check_code"]: row["reference_id"] for row in schema.rows("checks")}
    chosen = _chosen(content)
    used = {line["reference_id"] for line in content["calculation"]}
    used |= {checks[c["check"]] for c in (chosen["checks"] if chosen else [])}
    used |= {i["source"].removeprefix("option: ").split(",")[0] for line in content["calculation"]
             for i in line["inputs"]}  # fmt: skip
    rows = [r for r in schema.rows("references") if r["reference_id"] in used]
    return section("sources", items=[
        f"{r['reference_id']}: {', '.join(r[k] for k in ('title', 'edition', 'place') if r[k])}" for r in rows
    ])  # fmt: skip


def cautions(content: Content, units: str) -> Section | None:
    """The cautions of every page."""
    del content, units
    return section("cautions", items=words.cautions())
