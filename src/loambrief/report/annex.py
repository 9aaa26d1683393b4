"""The annex: what the advice rests on, a section a topic, then the plan, results and sources.

In a file of its own it is bound to the advisory by its digest, which stands there; a link
from one file to the other would break with the first renaming, so that between the two
only the numbers of sections lead (:meth:`Context.section`).
"""

from collections.abc import Sequence
from dataclasses import replace

from loambrief.report.appendix import accepted_blocks, results_section, sources_section
from loambrief.report.blocks import Annex, Attachment, Block, Fact, KeyFacts, ReportModel
from loambrief.report.context import Context
from loambrief.report.evidence import missing_section, photo_section, topic_sections
from loambrief.report.glossary import with_glossary
from loambrief.report.history_part import history_section
from loambrief.report.links import anchors
from loambrief.report.pictures import Pictures
from loambrief.report.plan_behind import plan_behind
from loambrief.report.workings import Workings


def with_annex(context: Context, drawn: Pictures, first: Sequence[Block]) -> tuple[Block, ...]:
    """Both parts of an advisory, the second as an annex with the charts.

    The second explains the terms of the first, and lists its sources.
    """
    workings = Workings(context)
    read = [
        *topic_sections(context, drawn.by_topic, workings),
        *plan_behind(context, drawn, workings),
        *accepted_blocks(context),
        *missing_section(context),
        *history_section(context),
        *photo_section(context),
        *results_section(context),
    ]
    before, after = with_glossary(first, read, sources_section(context), context.writer,
                                  context.section("glossary"))
    return *before, Annex(context.word("annex_title"), (_head(context), *after))


def _head(context: Context) -> KeyFacts:
    """Which advisory it belongs to."""
    case, word = context.case, context.word
    return KeyFacts((
        Fact(word("fact_client"), case.client.name),
        Fact(word("fact_field"), case.field.name),
        Fact(word("fact_crop"), context.crop),
        Fact(word("fact_date"), context.writer.day(case.case.date)),
    ), columns=4)


def advisory_alone(model: ReportModel) -> ReportModel:
    """The first part as a document of its own."""
    first, second = _parted(model)
    return replace(model, blocks=first, elsewhere=frozenset(anchors(second)))


def annex_alone(model: ReportModel, title: str) -> ReportModel:
    """The second part as a document of its own under a title; of several fields, that of each."""
    first, second = _parted(model)
    none: tuple[Attachment, ...] = ()
    return replace(model, title=f"{model.title}: {title}", attachments=none,
                   running_head=f"{model.running_head}, {title.lower()}",
                   blocks=second, elsewhere=frozenset(anchors(first)))


def _parted(model: ReportModel) -> tuple[tuple[Block, ...], tuple[Block, ...]]:
    """Blocks of the advisory and of its annex."""
    return (tuple(b for b in model.blocks if not isinstance(b, Annex)),
            tuple(b for b in model.blocks if isinstance(b, Annex)))
