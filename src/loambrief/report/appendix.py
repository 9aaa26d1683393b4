"""Behind the advice: results as typed, calculations, sources, sign-off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from loambrief.agronomy.registry import FORMULAS, Result
from loambrief.case.schema import Sample
from loambrief.report.blocks import (
    Block,
    Column,
    Fact,
    Heading,
    KeyFacts,
    Paragraph,
    Row,
    RowKind,
    Span,
    Style,
    Table,
    Text,
)
from loambrief.report.context import Context
from loambrief.report.links import anchor
from loambrief.report.numbers import NBSP, figures
from loambrief.report.parts import (
    ADVISER_FIELD,
    CLIENT_FIELD,
    Calculation,
    CalculationList,
    SignOff,
    Source,
    SourceList,
)
from loambrief.tables import reference

RESULTS = ("ph", "buffer_ph", "organic_matter", "organic_carbon", "total_nitrogen", "phosphorus",
           "potassium", "calcium", "magnesium", "sodium", "sulfate_s", "zinc", "copper",
           "manganese", "iron", "boron", "aluminum", "chloride", "nitrate_n", "ec", "cec",
           "exchangeable_sodium", "carbonate", "bulk_density", "water_content")
EXTRACT = ("calcium", "magnesium", "sodium", "chloride", "boron", "saturation")
METHOD_OF = {"ph": "ph", "buffer_ph": "buffer", "organic_matter": "organic_matter",
             "phosphorus": "phosphorus", "potassium": "cations", "calcium": "cations",
             "magnesium": "cations", "sodium": "cations", "sulfate_s": "sulfur", "zinc": "zinc",
             "copper": "copper", "manganese": "manganese", "iron": "iron", "boron": "boron",
             "aluminum": "aluminum", "ec": "ec", "cec": "cec"}
UNIT_SUFFIXES = (  # parameter-name endings that carry a unit
    ("_g_cm3", "g/cm³"), ("_meq_l", "meq/L"), ("_ds_m", "dS/m"), ("_kg_ha", "kg/ha"),
    ("_lb_ac", "lb/ac"), ("_t_ha", "t/ha"), ("_mg_l", "mg/L"), ("_ppm", "ppm"), ("_pct", "%"),
    ("_meq", "meq/100 g"), ("_psi", "psi"), ("_mpa", "MPa"), ("_in", "in"), ("_cm", "cm"),
    ("_mm", "mm"), ("_ac", "ac"), ("_days", "days"), ("_c", "°C"),
)


def results_section(context: Context) -> list[Block]:
    """Lab results exactly as typed, with method and depth; nothing averaged."""
    if not context.case.samples:
        return []
    blocks: list[Block] = [
        Heading(1, context.word("heading_results"), anchor="results"),
        Paragraph(context.word("results_intro")),
    ]
    for sample in context.case.samples:
        blocks += list(_sample(context, sample))
    return blocks


def _sample(context: Context, sample: Sample) -> Iterator[Block]:
    word = context.word
    name = f"{sample.id} ({sample.place})" if sample.place else sample.id
    yield Heading(2, word("sample_title", name=name))
    facts = [
        Fact(word("fact_sampled"), context.writer.day(sample.date)),
        Fact(word("fact_lab"), " ".join(p for p in (sample.lab.name, sample.lab.report) if p)),
        Fact(word("fact_cores"), figures(sample.cores) if sample.cores else word("not_stated")),
        Fact(word("fact_residue"), sample.residue or word("not_stated")),
        Fact(word("fact_texture"), sample.texture or word("not_stated")),
        Fact(word("fact_fizz"), sample.fizz or word("not_stated")),
    ]
    yield KeyFacts(tuple(facts), columns=3)
    rows = [
        row
        for field in RESULTS
        if (row := _result_row(context, sample, field)) is not None
    ]
    extract = [
        (word(f"extract_{field}"), word("method_extract"),
         *(_typed(getattr(i.extract, field)) if i.extract else "–" for i in sample.increments))
        for field in EXTRACT
        if any(i.extract and getattr(i.extract, field) is not None for i in sample.increments)
    ]
    if extract:
        rows.append(Row((word("extract_title"),), RowKind.GROUP))
        rows += extract
    yield Table(
        (
            Column(word("column_result"), weight=3),
            Column(word("column_method"), weight=3),
            *(Column(i.depth[2], "right", weight=2) for i in sample.increments),
        ),
        tuple(rows),
        row_headers=True,
    )


def _typed(value: object) -> str:
    if value is None:
        return "–"
    typed = getattr(value, "typed", None)
    if typed:
        return str(typed)
    text = f"{float(value):.2f}"
    return text[:-1] if text.endswith("0") else text


def _result_row(context: Context, sample: Sample, field: str) -> tuple[Text, ...] | None:
    values = [getattr(increment, field) for increment in sample.increments]
    if all(v is None for v in values):
        return None
    method = getattr(sample.methods, METHOD_OF[field], None) if field in METHOD_OF else None
    return (context.word(f"result_{field}"), method or "–", *(_typed(v) for v in values))


def calculations_section(context: Context) -> list[Block]:
    """Every number that was worked out, with inputs and answer, under its formula."""
    keys = list(dict.fromkeys(_group_key(r) for r in context.calculations))
    ordered = sorted(context.calculations, key=lambda r: keys.index(_group_key(r)))
    if not ordered:
        return []
    return [
        Heading(1, context.word("heading_calculations"), anchor="calculations"),
        Paragraph(context.word("calculations_intro")),
        CalculationList(tuple(_calculation(context, r) for r in ordered)),
    ]


def _group_key(result: Result) -> tuple[str, str, str, str]:
    return (result.formula, result.source, result.locator, result.how)


def _calculation(context: Context, result: Result) -> Calculation:
    return Calculation(
        number=result.calculation,
        group=_formula_line(context, result),
        name=result.subject or context.case.field.name,
        inputs=tuple(_inputs(result.inputs)),
        answer=_answer(context, result),
        outside="" if result.within_range else context.word("outside_range"),
        anchor=anchor("c", result.calculation),
    )


def _formula_line(context: Context, result: Result) -> Text:
    """Name of the quantity, registered name, source and how it was checked."""
    name = (FORMULAS[result.formula].__doc__ or result.formula).strip().splitlines()[0]
    how = context.word(f"how_{result.how}") if result.how != "seen" else ""
    if result.evidence == "common practice":
        how = context.word("grade_common_practice")
    tail = "; ".join(part for part in (result.locator, how) if part)
    return (
        Span(name.rstrip("."), bold=True),
        Span(f"  {result.formula} ", muted=True),
        *context.sources.cite((result.source,)),
        Span(f" {tail}" if tail else "", muted=True),
    )


def _answer(context: Context, result: Result) -> str:
    if result.value is None:
        return context.word("no_answer")
    if isinstance(result.value, str):
        return result.value
    unit = "" if result.unit in ("1", "pH") else result.unit
    glue = "" if unit in ("", "%") else NBSP
    return f"{_precise(result.value)}{glue}{unit}"


def _precise(value: float) -> str:
    """Unrounded for the record, yet readable: five significant digits."""
    text = f"{value:.5g}"
    return f"{value:,.0f}" if "e" in text and abs(value) < 1e9 else text


def _inputs(inputs: Mapping[str, object]) -> Iterator[Fact]:
    for name, value in inputs.items():
        label, unit = _label(name)
        yield Fact(label, _value(value, unit))


def _label(name: str) -> tuple[str, str]:
    for suffix, unit in UNIT_SUFFIXES:
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " "), unit
    return name.replace("_", " "), ""


def _value(value: object, unit: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        glue = "" if unit in ("", "%") else NBSP
        return f"{_precise(float(value))}{glue}{unit}"
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {_value(v, '')}" for k, v in value.items())
    if isinstance(value, list | tuple):
        shown = [_value(v, "") for v in value[:24]]
        more = f" … ({len(value)})" if len(value) > 24 else ""
        return "; ".join(shown) + more + (f" {unit}" if unit else "")
    return str(value)


def sources_section(context: Context) -> list[Block]:
    """The publications this advisory rests on, in order of first mention."""
    if not context.sources.numbers:
        return []
    entries = []
    for key in context.sources.numbers:
        about = reference(key)
        entries.append(
            Source(
                label=context.sources.label(key),
                citation=about.citation,
                anchor=anchor("s", key),
                url=about.url if about.url.startswith(("http://", "https://")) else "",
                note=context.word("kind_practice") if about.kind == "practice" else "",
            )
        )
    return [
        Heading(1, context.word("heading_sources"), anchor="sources"),
        SourceList(tuple(entries)),
    ]


def record_section(context: Context) -> list[Block]:
    """Scope, completeness, the adviser's own notes, accepted warnings, then the signatures."""
    case, word = context.case, context.word
    blocks: list[Block] = [Heading(1, word("heading_record"), anchor="record")]
    blocks.append(Paragraph(word("scope", jurisdiction=case.case.jurisdiction)))
    blocks.append(Paragraph(word("completeness", missing=len(context.diagnosis.missing),
                                 samples=len(case.samples))))
    if case.notes:
        blocks.append(Heading(2, word("heading_notes"), anchor="notes"))
        blocks += [Paragraph(note) for note in case.notes]
    if context.loaded.accepted:
        blocks += [
            Heading(2, word("heading_accepted"), anchor="accepted"),
            Table(
                (Column(word("column_warning"), weight=3), Column(word("column_reason"), weight=3)),
                tuple((f"{p.code} {p.field}: {p.found}", reason)
                      for p, reason in context.loaded.accepted),
            ),
        ]
    blocks.append(Paragraph(word("keep"), Style.NOTE))
    blocks.append(Paragraph(word("digest", sha=context.loaded.sha256), Style.NOTE))
    credential = case.adviser.credential
    blocks.append(
        SignOff(
            adviser=tuple(
                Fact(label, value)
                for label, value in (
                    (word("fact_name"), case.adviser.name),
                    (word("fact_business"), case.adviser.business),
                    (word("fact_credential"), f"{credential.scheme}, {credential.number}"),
                    (word("fact_expires"), context.writer.day(credential.expires)),
                )
                if value
            ),
            statement=word("adviser_statement"),
            interest=case.adviser.interest,
            acknowledgement=word("grower_statement"),
            adviser_name=case.adviser.name,
            grower_name=case.client.contact or case.client.name,
            anchor="sign-off",
            field=ADVISER_FIELD,
            client_field=CLIENT_FIELD,
        )
    )
    return blocks


