"""Behind the advice: results as typed, sources, record and sign-off."""

from collections.abc import Iterator, Sequence

from loambrief.case.codes import asked_at_issue, codes
from loambrief.case.intake_kinds import fields_of
from loambrief.case.measurements import EXTRACT, SLICE, Measurement, of_part, path_of
from loambrief.case.normalise import LB_AC_ASSUMED, in_lb_ac
from loambrief.case.part import Part
from loambrief.case.problems import Problem
from loambrief.case.repeats import repeats_of, spread_of
from loambrief.case.schema import Increment, Sample
from loambrief.findings.model import say
from loambrief.findings.places import depth_of
from loambrief.report import blocks as b
from loambrief.report.context import Context
from loambrief.report.history_part import seen_line
from loambrief.report.links import anchor
from loambrief.report.parts import ADVISER_FIELD, CLIENT_FIELD, SignOff, SourceEntry, SourceList
from loambrief.tables import reference


def results_section(context: Context) -> list[b.Block]:
    """Lab results exactly as typed, with method and depth; nothing averaged."""
    others = _other_tests(context)
    if not context.case.samples and not others:
        return []
    blocks: list[b.Block] = [
        context.annex_heading("results", context.word("heading_results"), "results"),
        b.Paragraph(context.word("results_intro")),
    ]
    samples = context.case.typed_samples
    made = [(*_sample(context, sample), *_spread(context, sample)) for sample in samples]
    if all(len(sample.increments) <= MOST_BESIDE for sample in samples):
        pairs = list(zip(made[::2], made[1::2], strict=False))
        blocks += [b.Beside(left, right) for left, right in pairs]
        made = made[2 * len(pairs):]
    return [*blocks, *(block for sample in made for block in sample), *others]


MOST_BESIDE = 2
"""Layers of samples whose tables stand side by side."""


def _sample(context: Context, sample: Sample) -> Iterator[b.Block]:
    word = context.word
    name = f"{sample.id} ({sample.place})" if sample.place else sample.id
    yield b.Heading(3, word("sample_title", name=name))
    if sample.repeats is not None:
        yield b.Paragraph(word("repeat_told", of=sample.repeats.of, treat=sample.repeats.treat,
                               reason=sample.repeats.reason))
    facts = (
        ("sampled", context.writer.day(sample.date)),
        ("lab", " ".join(p for p in (sample.lab.name, sample.lab.report) if p)),
        ("cores", context.writer.figures(sample.cores) if sample.cores else word("not_stated")),
        ("residue", context.term(sample.residue) or word("not_stated")),
        ("texture", context.term(sample.texture) or word("not_stated")),
        ("fizz", context.term(sample.fizz) or word("not_stated")),
        *((("lb_ac", word("lb_ac_told", means=sample.lab.lb_ac_means or LB_AC_ASSUMED,
                          stated=sample.lab.lb_ac_means is not None)),)
          if in_lb_ac(sample) else ()),
    )
    told: list[str | b.Span] = []
    for label, value in facts:
        told += [b.Span(f"{'; ' if told else ''}{word(f'fact_{label}')} ", muted=True), value]
    yield b.Paragraph(tuple(told), b.Style.SMALL)
    rows: list[b.Row | tuple[b.Text, ...]] = [
        row
        for result in of_part(SLICE)
        if (row := _result_row(context, sample, result)) is not None
    ]
    extract = [
        (word(f"extract_{field}"), word("method_extract"),
         *(context.typed(getattr(i.extract, field)) if i.extract else "–"
           for i in sample.increments))
        for field in (m.field for m in of_part(EXTRACT))
        if any(i.extract and getattr(i.extract, field) is not None for i in sample.increments)
    ]
    if extract:
        rows.append(b.Row((word("extract_title"),), b.RowKind.GROUP))
        rows += extract
    yield b.Table(
        (
            b.Column(word("column_result"), weight=3),
            b.Column(word("column_method"), weight=3),
            *(b.Column(_layer(context, i), "right", weight=2) for i in sample.increments),
        ),
        tuple(rows),
        row_headers=True,
    )


def _spread(context: Context, first: Sample) -> Iterator[b.Block]:
    """Results of one zone beside each other, under the zone's first sample."""
    word = context.word
    for treat in ("pool", "compare"):
        others = repeats_of(context.case, first, treat)
        if not others:
            continue
        rows = []
        for increment in first.increments:
            same = [i for s in (first, *others) for i in s.increments
                    if i.depth[:2] == increment.depth[:2]]
            for field, spread in spread_of(same).items():
                figures = [context.writer.figures(v) for v in (spread.mean, spread.sd)]
                unit = getattr(getattr(increment, field), "unit", "")
                rows.append((f"{word(f'result_{field}')}{', ' if unit else ''}{unit}",
                             _layer(context, increment), str(spread.n), *figures))
        yield b.Paragraph(word(f"repeat_{treat}", first=first.id, others=[s.id for s in others]))
        if rows:
            yield b.Table((b.Column(word("column_result"), weight=3),
                           b.Column(word("column_layer")), b.Column(word("column_n"), "right"),
                           b.Column(word("column_mean"), "right"),
                           b.Column(word("column_sd"), "right")), tuple(rows), row_headers=True)


def _layer(context: Context, increment: Increment) -> str:
    """A layer in the reader's units, and as typed where that differs."""
    typed = increment.depth[2]
    shown = context.place(depth_of(increment))
    return shown if shown == typed else f"{shown} ({typed})"


def _result_row(context: Context, sample: Sample, result: Measurement
                ) -> tuple[b.Text, ...] | None:
    values = [getattr(increment, result.field) for increment in sample.increments]
    if all(v is None for v in values):
        return None
    method = getattr(sample.methods, result.method) if result.method else None
    return (context.word(f"result_{result.field}"), context.term(method) or "–",
            *(context.typed(v) for v in values))


MOST_COLUMNS = 4
"""Tests side by side in one table."""


def _other_tests(context: Context) -> list[b.Block]:
    """A table for the forage tests and one for the water test, if there are any."""
    case, word = context.case, context.word
    blocks: list[b.Block] = []
    forage = case.forage
    for start in range(0, len(forage), MOST_COLUMNS):
        tests = forage[start:start + MOST_COLUMNS]
        names = [f"{t.id} ({t.cutting})" if t.cutting else t.id for t in tests]
        blocks += _test_table(context, "forage", word("heading_forage"), tests, names)
    if case.water is not None:
        blocks += _test_table(context, "water", word("heading_water"), [case.water],
                              [case.water.source])
    return blocks


def _test_table(context: Context, kind: str, heading: str, tests: Sequence,
                names: Sequence[str]) -> list[b.Block]:
    word = context.word
    fields = [path_of(name)[-1] for name in fields_of(kind)]
    rows = [b.Row((word(f"{kind}_{field}"), *(_test_typed(context, test, field) for test in tests)))
            for field in fields if any(getattr(test, field) is not None for test in tests)]
    if not rows:
        return []
    told = "; ".join(
        ", ".join(part for part in (name, context.writer.day(test.date), test.lab) if part)
        for name, test in zip(names, tests, strict=True))
    return [b.Heading(3, heading), b.Paragraph(told, b.Style.SMALL),
            b.Table((b.Column(word("column_result"), weight=3),
                     *(b.Column(name, "right", weight=2) for name in names)), tuple(rows),
                    row_headers=True)]


def _test_typed(context: Context, test: Part, field: str) -> str:
    value = getattr(test, field)
    told = context.typed(value)
    form = getattr(test, "nitrate_as", None) if field == "nitrate" and value is not None else None
    return context.word("nitrate_form", value=told, form=form) if form else told


WEAK = ("trade press", "undated page")
"""Kinds of publication that the source list names as such."""


def sources_section(context: Context) -> list[b.Block]:
    """The publications this advisory rests on, in order of first mention."""
    if not context.sources.numbers:
        return []
    entries = []
    foreign = "" if context.writer.tongue.folder == "en" else "en"  # citations are English
    unseen = {r.source for r in context.calculations if r.how == "memory"}
    for key in context.sources.numbers:
        about = reference(key)
        note = "kind_practice" if "practice" in about.kind else (
            "how_memory" if key in unseen else
            f"kind_{about.kind.replace(' ', '_')}" if about.kind in WEAK else "")
        entries.append(
            SourceEntry(
                label=context.sources.label(key),
                citation=b.Span(about.citation, language=foreign),
                anchor=anchor("s", key),
                url=about.url if about.url.startswith(("http://", "https://")) else "",
                note=context.word(note) if note else "",
            )
        )
    return [
        context.annex_heading("sources", context.word("heading_sources"), "sources"),
        SourceList(tuple(entries)),
    ]


def _warning(context: Context, problem: Problem) -> str:
    """An accepted warning: what was found, or what its code means where the wording of
    problems is not the reader's: it is English, in the units of the house."""
    same = context.writer.tongue.folder == "en" and context.system == "us"
    told = problem.found if same else context.term(codes()[problem.code])
    return f"{problem.code} {problem.field}: {told}"


def _accepted_points(context: Context) -> list[tuple[b.Text, str]]:
    """What the adviser issues without a verdict, or on values from memory, with the reason."""
    rows: list[tuple[b.Text, str]] = []
    for entry in context.case.accept:
        if entry.code == "UNJUDGED":
            here = [v for v in context.plan.unjudged() if v.answers_to(entry.field)]
            if here:
                rows.append((context.write(say("verdicts.accepted_point", keys=[here[0].key],
                                               places=list(dict.fromkeys(v.place for v in here)))),
                             entry.reason))
        elif entry.code == "MEMORY":
            rows.append(((context.word("how_memory"), " ", *context.sources.cite((entry.field,))),
                         entry.reason))
        elif entry.code in asked_at_issue():
            slug = entry.code.removeprefix("ISSUE-").lower().replace("-", "_")
            rows.append((context.write(say(f"verdicts.waived_{slug}")), entry.reason))
    return list(dict.fromkeys(rows))


def accepted_blocks(context: Context) -> list[b.Block]:
    """Warnings and points that the adviser accepted, with the reasons."""
    word, points = context.word, _accepted_points(context)
    if not (context.loaded.accepted or points):
        return []
    return [
        b.Heading(3, word("heading_accepted"), anchor="accepted"),
        b.Table(
            (b.Column(word("column_warning"), weight=3), b.Column(word("column_reason"), weight=3)),
            (*((_warning(context, p), reason) for p, reason in context.loaded.accepted), *points),
        ),
    ]


def record_section(context: Context, annex: b.AnnexFile | None) -> list[b.Block]:
    """Scope, completeness, the adviser's own notes, where the annex is, then the signatures.

    ``annex`` is there where it is a file of its own.
    """
    case, word = context.case, context.word
    blocks: list[b.Block] = [b.Heading(1, word("heading_record"), anchor="record")]
    told = [word("scope", jurisdiction=case.case.jurisdiction),
            word("completeness", missing=len(context.diagnosis.missing),
                 samples=len(case.samples), section=context.section("missing")),
            word("governing", governing=context.governing)]
    if context.writer.decided != context.system:
        told.append(word("converted", decided=context.writer.decided))
    blocks.append(b.Paragraph(" ".join(told), b.Style.SMALL))
    seen = seen_line(context)
    if case.notes or seen:
        first, *others = [note for note in (*case.notes, seen) if note]
        blocks.append(b.Paragraph((b.Span(f"{word('heading_notes')}: ", bold=True), first),
                                  anchor="notes"))
        blocks += [b.Paragraph(note) for note in others]
    where = (word("annex_inside") if annex is None else
             word("annex_file", file=annex.name, sha=annex.sha256))
    kept = b.Paragraph(" ".join((
        word("keep"), where, word("digest", sha=context.loaded.sha256))), b.Style.NOTE)
    credential = case.adviser.credential
    signed = SignOff(
        adviser=tuple(
            b.Fact(label, value)
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
    return [*blocks, b.KeepTogether((kept, signed))]


