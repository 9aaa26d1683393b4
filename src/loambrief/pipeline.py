"""One case from file to advisory: the one place that knows all the steps.

read and check → findings → plan → report model → PDF and JSON bytes. Nothing is written
until every byte is made; files appear whole or not at all.
"""

import datetime as dt
import hashlib
import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cache
from importlib.metadata import version
from pathlib import Path

from loambrief import __version__
from loambrief.actions.differences import beside_program
from loambrief.actions.held import held
from loambrief.actions.model import Plan
from loambrief.actions.own_rates import WARNINGS as OWN_RATE_WARNINGS
from loambrief.actions.plan import make_plan
from loambrief.agronomy.guides import from_data, with_guides
from loambrief.agronomy.registry import Result, recording
from loambrief.case.load import LoadedCase, load_case
from loambrief.errors import PlanFaults
from loambrief.findings.model import NeedKind, say
from loambrief.report import blocks as b
from loambrief.report.annex import advisory_alone, annex_alone
from loambrief.report.build import FieldDraft, draft_field, finish_field
from loambrief.report.changes_part import RevisionChanges, with_changes
from loambrief.report.combine import FieldReport, combine
from loambrief.report.data import advisory_data, as_bytes
from loambrief.report.money import money_of
from loambrief.report.own_words import bound
from loambrief.report.text import Writer
from loambrief.resources import claim, digest_of, tables_dir, templates_dir, uncollected
from loambrief.topics.assess import Diagnosis, assess

ANNEX = ".annex.pdf"
"""Ending of the annex's name."""


class Files(StrEnum):
    """In how many files a document is: the annex apart, or at the end of the one file."""

    ONE = "one"
    TWO = "two"


@dataclass(frozen=True)
class Advice:
    """What a case comes to, before it is put on paper."""

    loaded: LoadedCase
    diagnosis: Diagnosis
    plan: Plan
    calculations: tuple[Result, ...]


@dataclass(frozen=True)
class Advisory:
    """A finished advisory, as bytes."""

    case_id: str
    pdf: bytes
    data: bytes
    advice: Advice
    twins: Mapping[str, bytes] = field(default_factory=dict)
    """The same document for a screen, by file ending."""
    annex: bytes = b""
    """The annex; empty where it ends the PDF."""

    def files(self, stem: str = "") -> Mapping[str, bytes]:
        """Finished files by name; ``stem`` takes the place of the case id."""
        stem = stem or self.case_id
        return {f"{stem}.pdf": self.pdf, **({annex_name(stem): self.annex} if self.annex else {}),
                f"{stem}.json": self.data,
                **{f"{stem}.{ending}": data for ending, data in self.twins.items()}}


def annex_name(stem: str) -> str:
    """Name of the annex that belongs to ``<stem>.pdf``."""
    return f"{stem}{ANNEX}"


@cache
def tables_digest() -> str:
    """SHA-256 over every shipped table, so that a record names the numbers it used."""
    return digest_of(tables_dir(), (".csv", ".toml"))


def made_with() -> Mapping[str, str]:
    """What decides the bytes of a page beside the case: libraries, templates, own wording."""
    words = bound()
    return {**_libraries(), **({} if words is None else {"own_words": words.sha256[:16]})}


@cache
def _libraries() -> Mapping[str, str]:
    versions = {name: version(name) for name in ("fonttools", "highspy", "pikepdf", "reportlab")}
    return {**versions, "templates": digest_of(templates_dir())[:16]}


@uncollected()
def advise(loaded: LoadedCase) -> Advice:
    """Findings and plan of a loaded case, every calculation recorded.

    Raises
    ------
    CaseProblems
        The adviser's own entries do not fit the plan, or cross a limit.
    """
    own = [from_data(guide.name, guide.data, own=True) for guide in loaded.guides]
    earlier = [one.case for one in loaded.earlier]
    with recording() as trace, with_guides(*own):
        diagnosis = assess(loaded.case, earlier)
        try:
            plan = make_plan(loaded.case, diagnosis.findings, diagnosis.judgements)
        except PlanFaults as error:
            loaded.of_plan(error.faults)
            raise
        if loaded.sets_plan:
            loaded = loaded.of_plan(held(loaded.case, plan, diagnosis.findings))
        if loaded.case.has_own:
            plan = beside_program(loaded.case, plan, earlier)
    return Advice(loaded, diagnosis, plan, tuple(trace.results))


@uncollected()
def make_advisory(path: Path, **overrides: str) -> Advisory:
    """Read a case and make its advisory.

    ``overrides`` are ``units``, ``paper`` or ``language`` in place of the case's own.
    """
    return render(advise(load_case(path, **overrides)))


@dataclass(frozen=True)
class _Standing:
    """Where a document is in its life: what is printed on it beside the advice."""

    status: b.DocumentStatus = b.DocumentStatus.DRAFT
    number: str | None = None
    revision: int | None = None
    changes: RevisionChanges | None = None
    issued: dt.date | None = None


def _writer(advice: Advice) -> Writer:
    return Writer.of(advice.loaded.case.case)


def _draft(advice: Advice, stage: _Standing, annex_file: str = "") -> FieldDraft:
    """Report model of one case but for its record."""
    writer = _writer(advice)
    draft = draft_field(advice.loaded, advice.diagnosis, advice.plan, advice.calculations, writer,
                        annex_file)
    blocks = with_changes(draft.model.blocks, stage.issued, stage.changes, writer)
    return replace(draft, model=replace(
        draft.model, status=stage.status, number=stage.number, blocks=blocks,
        revision=None if stage.revision is None else f"rev. {stage.revision}"))


def _finished(advice: Advice, draft: FieldDraft, stage: _Standing,
              annex: b.AnnexFile | None = None) -> tuple[FieldReport, bytes]:
    """Report model and data of one case."""
    data = as_bytes(
        advisory_data(
            advice.loaded.case,
            advice.diagnosis,
            advice.plan,
            advice.calculations,
            _writer(advice),
            inputs_sha256=advice.loaded.sha256,
            tables_sha256=tables_digest(),
            version=__version__,
            made_with=made_with(),
            status=stage.status.value,
            number=stage.number,
            revision=stage.revision,
            issued=stage.issued,
            changes=None if stage.changes is None else stage.changes.as_json(),
            annex=annex,
        )
    )
    return finish_field(draft, data, annex), data


def _paper(advice: Advice) -> tuple[FieldReport, bytes]:
    """Report model, annex in it, and data of one case."""
    stage = _Standing()
    return _finished(advice, _draft(advice, stage), stage)


def _annex(model: b.ReportModel, name: str, writer: Writer) -> tuple[b.AnnexFile, bytes]:
    """The annex of a model as a file, made before the advisory, which names its digest."""
    from loambrief.render.pdf import render_pdf

    made = render_pdf(annex_alone(model, writer.write(say("report.annex_title"))))
    return b.AnnexFile(name, hashlib.sha256(made).hexdigest()), made


def report_model(advice: Advice) -> b.ReportModel:
    """What will be printed, as plain data: for checks, and for other ways to show it."""
    return _paper(advice)[0].model


@uncollected()
def render(advice: Advice, *, status: b.DocumentStatus = b.DocumentStatus.DRAFT,
           number: str | None = None, revision: int | None = None,
           twins: Sequence[str] = (), changes: RevisionChanges | None = None,
           issued: dt.date | None = None, files: Files = Files.TWO, stem: str = "") -> Advisory:
    """Put advice on paper.

    Parameters
    ----------
    status : DocumentStatus
        All but an issued document say on each page what they are.
    number : str or None
        Advisory number, once there is one.
    revision : int or None
        Counted from 1.
    twins : sequence of str
        ``"html"`` and ``"txt"``: also as a page for screens, as plain text.
    changes : RevisionChanges or None
        Since the revision before: printed after page 1, and in the data.
    issued : date or None
        Day of issue: printed at the top of page 1, and in the data.
    stem : str
        Name of the file without ending, of which the annex's name is made; the case id if
        empty.
    """
    from loambrief.render.pdf import render_pdf  # slow import: only when a page is made

    stage = _Standing(status, number, revision, changes, issued)
    case_id = advice.loaded.case.case.id
    bound, second = None, b""
    if files is Files.TWO:
        name = annex_name(stem or case_id)
        draft = _draft(advice, stage, name)
        bound, second = _annex(draft.model, name, _writer(advice))
    else:
        draft = _draft(advice, stage)
    report, data = _finished(advice, draft, stage, bound)
    first = report.model if bound is None else advisory_alone(report.model)
    return Advisory(case_id, render_pdf(first), data, advice, _twins(report.model, twins), second)


def _twins(model: b.ReportModel, endings: Sequence[str]) -> dict[str, bytes]:
    """A report for screens, by file ending."""
    made = {}
    if "html" in endings:
        from loambrief.render.html import render_html

        made["html"] = render_html(model)
    if "txt" in endings:
        from loambrief.render.plain import render_plain

        made["txt"] = render_plain(model)
    return made


@uncollected()
def render_together(advices: Sequence[Advice], name: str, twins: Sequence[str] = (),
                    files: Files = Files.TWO) -> Mapping[str, bytes]:
    """One PDF for several fields of one client with its annex, and each field's data.

    ``name`` is that of the PDF, without ending; the rest is as of :func:`render`.

    Raises
    ------
    LoambriefError
        The cases are of several clients, or differ in language, units, paper or currency.
    """
    from loambrief.render.pdf import render_pdf

    stage, apart = _Standing(), files is Files.TWO
    drafts = [_draft(advice, stage, annex_name(name) if apart else "") for advice in advices]
    made: dict[str, bytes] = {}
    bound = None
    if apart:
        model = combine([FieldReport(d.context, d.model) for d in drafts], name)
        bound, made[annex_name(name)] = _annex(model, annex_name(name), _writer(advices[0]))
    papers = [_finished(advice, draft, stage, bound)
              for advice, draft in zip(advices, drafts, strict=True)]
    model = combine([report for report, _ in papers], name)
    first = advisory_alone(model) if apart else model
    made = {f"{name}.pdf": render_pdf(first), **made}
    made.update({f"{name}.{ending}": d for ending, d in _twins(model, twins).items()})
    made.update({f"{r.case.case.id}.json": data for r, data in papers})
    return made


def sign_words(language: str) -> Mapping[str, str]:
    """Words on a digital signature, for ``archive.sign.SignWords``.

    ``language`` is that of the document that is signed; English where there is no wording in it.
    """
    short = language.split("-")[0].lower()
    writer = Writer(short if (templates_dir() / "text" / short / "sign.j2").is_file() else "en")
    names = ("signed_by", "trial", "draft", "reason_adviser", "reason_client", "name_differs")
    return {name: writer.write(say(f"sign.{name}")) for name in names}


@dataclass(frozen=True)
class Brief:
    """What the terminal shows of an advice."""

    title: str
    """Client and field."""
    actions: tuple[tuple[int, str, str], ...]
    """Tuple of (rank, what, cost): The first ones that the money covers, with their place."""
    money: str
    """What the plan costs, what waits, what was not measured."""
    warnings: int

    def lines(self) -> list[str]:
        """As plain lines."""
        shown = [f"  {rank}. {what}, {cost}" for rank, what, cost in self.actions]
        return [self.title, *shown, f"  {self.money}"]


def brief(advice: Advice, most: int = 3) -> Brief:
    """What the terminal shows: the first actions, the money, what is missing."""
    case, plan, writer = advice.loaded.case, advice.plan, _writer(advice)
    actions = []
    costs = money_of(plan)
    for action in [a for a in plan.actions if a.id in plan.budget.chosen][:most]:
        cost = (writer.write(say("report.no_price")) if action.cost_total is None
                else writer.money(costs.costs[action.id]))
        what = writer.write(action.title)
        if not writer.tells(action.title, action.place):
            what = f"{what} [{writer.place(action.place) or case.field.name}]"
        actions.append((action.rank, what, cost))
    money = writer.write(say(
        "report.plan_line", spent=costs.total, limit=plan.budget.limit,
        waiting=len(plan.budget.left_out), missing=len(advice.diagnosis.missing)))
    return Brief(f"{case.client.name}, {case.field.name}", tuple(actions), money,
                 len(advice.loaded.warnings))


def own_rate_warnings(advice: Advice) -> list[str]:
    """Limits that the adviser's own rates cross, for the terminal."""
    writer = _writer(advice)
    return [f"{action.id}: {writer.write(caution)}" for action in advice.plan.actions
            for caution in action.cautions if caution.key in OWN_RATE_WARNINGS]


def compare(path: Path, other: Path | None = None, changes: tuple[str, ...] = ()):
    """Two plans beside each other: a second case file, or the first with changes.

    ``changes`` are ``"path=value"``; see :func:`loambrief.case.whatif.load_changed`.
    """
    from loambrief.case.whatif import load_changed
    from loambrief.report.compare_part import ComparedSide, compare_plans

    def side(label: str, loaded: LoadedCase) -> ComparedSide:
        advice = advise(loaded)
        return ComparedSide(label, loaded.case, advice.diagnosis, advice.plan)

    second = load_case(other) if other is not None else load_changed(path, changes)
    label = str(other) if other is not None else ", ".join(changes)
    return compare_plans(side(str(path), load_case(path)), side(label, second))


def calendar_file(advice: Advice) -> Mapping[str, bytes]:
    """Windows and re-tests of an advice as ``<case id>.ics``."""
    from loambrief.report.calendar_file import calendar_bytes

    case = advice.loaded.case
    return {f"{case.case.id}.ics": calendar_bytes(case, advice.plan, _writer(advice))}


def applicator_file(advice: Advice, *, status: b.DocumentStatus = b.DocumentStatus.DRAFT,
                    number: str | None = None, revision: int | None = None) -> Mapping[str, bytes]:
    """The spreading sheet of an advice as ``<case id>-spreading.pdf``.

    In the largest type that keeps it on one page; a long plan goes on over the page in
    normal type. See :func:`render` for the parameters.
    """
    from io import BytesIO

    from pypdf import PdfReader

    from loambrief.render.pdf import render_pdf
    from loambrief.report.applicator import SCALES, applicator_sheet

    case, writer, pdf = advice.loaded.case, _writer(advice), b""
    for scale in SCALES:
        sheet = applicator_sheet(case, advice.plan, writer, scale)
        pdf = render_pdf(replace(sheet, status=status, number=number,
                                 revision=None if revision is None else f"rev. {revision}"))
        if len(PdfReader(BytesIO(pdf)).pages) == 1:
            break
    return {f"{case.case.id}-spreading.pdf": pdf}


def rate_map_files(advice: Advice, *, status: b.DocumentStatus = b.DocumentStatus.DRAFT,
                   number: str | None = None,
                   stem: str = "") -> tuple[Mapping[str, bytes], tuple[str, ...]]:
    """Rate maps for the spreader, and the jobs that no shape of the case shows.

    ``stem`` begins the files' names; the case id if empty.
    """
    from loambrief.report.rate_map import rate_map

    made = rate_map(advice.loaded.case, advice.plan, _writer(advice), status=status.value,
                    number=number, stem=stem)
    return made.files, made.undrawn


def next_case_text(last: Path, path: Path, date: dt.date | None = None) -> str:
    """The next case of a field as YAML, with the last plan to be completed.

    See :func:`loambrief.case.next_case.next_case`.
    """
    from loambrief.case.next_case import PlannedLine, next_case

    loaded = load_case(last)
    advice = advise(loaded)
    writer = _writer(advice)
    names = {m.id: m for m in loaded.case.materials}
    lines = []
    for action in advice.plan.actions:
        if action.id not in advice.plan.budget.chosen or action.kind is NeedKind.MANAGE:
            continue  # a habit has no date
        material = names.get(action.material_id) if action.material_id else None
        lines.append(PlannedLine(
            action=writer.write(action.title)[:200], material=material.name if material else None,
            material_id=action.material_id, kind=material.kind if material else None,
            where=action.place.label or None,
            rate=None if action.rate is None else f"{action.rate:g} {action.rate_unit}",
            area=None if action.area_ac is None else f"{action.area_ac:g} ac",
            cost=None if action.cost_total is None else round(action.cost_total, 2)))
    return next_case(loaded, lines, path, date)


@dataclass(frozen=True)
class SheetFile:
    """A field sheet as a file."""

    name: str
    pdf: bytes
    sheet: str
    """Id printed on each page."""
    boxes: int


def field_sheet_file(advice: Advice, sections: Sequence[str], blank: int = 3) -> SheetFile:
    """The sheets for the next visit as ``<case id>-fieldsheet.pdf``.

    What the last visit lacked is asked for first. ``sections`` are of
    :data:`loambrief.case.sheet_layout.SECTIONS`; ``blank`` counts empty lines for new weeds.
    """
    from loambrief.case.sheet_layout import boxes
    from loambrief.render.pdf import render_pdf
    from loambrief.report.fieldsheet import field_sheet
    from loambrief.report.fieldsheet_plan import plan_visit

    case, writer = advice.loaded.case, _writer(advice)
    plan = plan_visit(case, writer, sections=sections, blank=blank)
    pdf = render_pdf(field_sheet(case, advice.diagnosis.missing, advice.plan.followups, plan,
                                 writer))
    return SheetFile(f"{case.case.id}-fieldsheet.pdf", pdf, plan.layout.sheet,
                     len(boxes(plan.layout)))


def write_files(files: Mapping[str, bytes | Callable[[], bytes]], folder: Path, *,
                new: bool = False) -> tuple[Path, ...]:
    """Write files whole: each under a temporary name, then renamed into place.

    What makes a file's content is called when that file's turn comes, so that one is held at once.
    Their modes are what the user's umask leaves of read and write. With ``new``, no file is
    replaced, not even one that another run put there meanwhile (FileExistsError).
    """
    folder.mkdir(parents=True, exist_ok=True)
    staged: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            temporary = folder / f".{name}.{secrets.token_hex(6)}"
            handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
            staged.append((temporary, folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(content() if callable(content) else content)
                stream.flush()
                os.fsync(stream.fileno())
        for temporary, final in staged:
            (claim if new else os.replace)(temporary, final)
    except BaseException:
        for temporary, _ in staged:
            temporary.unlink(missing_ok=True)
        raise
    return tuple(final for _, final in staged)
