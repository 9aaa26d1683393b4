"""One case file to a checked case, or every problem it has. Nothing is ever half-built."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from pydantic import ValidationError

from loambrief.case.brand import PrintedBrand, load_brand
from loambrief.case.checks import cross_checks
from loambrief.case.codes import OF_ADVICE, OF_PLAN, asked_at_issue
from loambrief.case.guide_file import LoadedGuide
from loambrief.case.history import History, count_done, find_history, read_history
from loambrief.case.normalise import to_house
from loambrief.case.photos import Photo, load_photos
from loambrief.case.plausible import warnings
from loambrief.case.problems import MOST_PRINTED, Fault, Problem, in_file_order
from loambrief.case.profiles import ProfileFile, digest, resolve
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.repeats import treated
from loambrief.case.salvage import salvage
from loambrief.case.schema import LANGUAGES, CaseFile
from loambrief.case.source import SourceText
from loambrief.case.validate import faults_of, is_refused
from loambrief.errors import CaseProblems, UnknownName

OVERRIDES = {"units": ("us", "si"), "paper": ("letter", "a4"), "language": LANGUAGES}


@dataclass(frozen=True)
class LoadedCase:
    """A case that is ready to be advised on."""

    case: CaseFile
    """House units throughout; what was typed stays with each quantity."""
    sha256: str
    """Of the file's bytes, in hexadecimal; with profiles, of the list of all digests (see
    :func:`loambrief.case.profiles.digest`)."""
    warnings: tuple[Problem, ...] = ()
    """In file order, without the accepted ones."""
    accepted: tuple[tuple[Problem, str], ...] = ()
    """Warnings the adviser stands by, with the reason, for the report."""
    source_text: str = ""
    """The file as text, for the record."""
    file: str = ""
    """As the user named it."""
    files: tuple[ProfileFile, ...] = ()
    """Profiles the case was put together from, with digest and text."""
    guides: tuple[LoadedGuide, ...] = ()
    """The consultant's own guide, if the case names one by file."""
    photos: tuple[Photo, ...] = ()
    """In the order of ``case.photos``."""
    earlier: "tuple[LoadedCase, ...]" = ()
    """Earlier cases of the field, oldest first."""
    brand: PrintedBrand | None = None
    """Logo and accent, the client's before the adviser's."""
    source: SourceText | None = field(default=None, compare=False, repr=False)
    """The data with the places of everything, for what only the plan can tell."""

    @property
    def sets_plan(self) -> bool:
        """The adviser set or named something of the plan, or accepts a warning of it."""
        strips = self.case.strips
        return (self.case.has_own or bool(strips is not None and strips.actions)
                or any(a.code in OF_PLAN for a in self.case.accept))

    def of_plan(self, faults: Iterable[Fault]) -> "LoadedCase":
        """With warnings of the finished plan sorted in; the accepted ones with their reason.

        Raises
        ------
        CaseProblems
            There are errors among them.
        """
        if self.source is None:
            return self
        found = self.source.problems(faults)
        if any(p.severity == "error" for p in found):
            raise CaseProblems(in_file_order([*found, *self.warnings]))
        kept, accepted = _sort_out(self.case, found, self.source, OF_PLAN)
        return replace(self, warnings=in_file_order([*self.warnings, *kept]),
                       accepted=tuple(sorted((*self.accepted, *accepted),
                                             key=lambda pair: (pair[0].line, pair[0].column))))


def load_case(
    path: Path | str,
    *,
    units: str | None = None,
    paper: str | None = None,
    language: str | None = None,
) -> LoadedCase:
    """Read, check and convert one case file: YAML in UTF-8, at most 1 MiB.

    ``units``, ``paper`` and ``language`` take the place of the case's own.

    Raises
    ------
    CaseProblems
        With every problem of the file, in file order.
    OSError
        The file is not there or may not be read.
    UnknownName
        An override that is not one of the choices.
    """
    return load_bytes(read_bytes(Path(path)), str(path), folder=Path(path).parent, units=units,
                      paper=paper, language=language)


def load_bytes(raw: bytes, file: str, *, folder: Path | None = None, as_earlier: bool = False,
               **overrides: str | None) -> LoadedCase:
    """Check and convert a case that is already in memory; see :func:`load_case`.

    Parameters
    ----------
    file : str
        Name used in problems.
    folder : Path or None
        Where the case stands; without it the case can name no profiles.
    as_earlier : bool
        As an earlier case of another one: without its own history and photos.
    """
    source, problems = read_text(decode(raw, file), file)
    return load_source(source, problems, hashlib.sha256(raw).hexdigest(), folder=folder,
                       as_earlier=as_earlier, **overrides)


def load_source(source: SourceText, problems: list[Problem], sha256: str, *,
                folder: Path | None = None, as_earlier: bool = False,
                **overrides: str | None) -> LoadedCase:
    """Check and convert a case that has been read; see :func:`load_bytes`.

    Parameters
    ----------
    source : SourceText
        Its marks say where each problem is: in a text, or in the cells of a workbook.
    problems : list of Problem
        What reading it has found; with any, the case is refused.
    sha256 : str
        Of the file, in hexadecimal.
    """
    text, file = source.text, source.file
    photos: tuple[Photo, ...] = ()
    brand: PrintedBrand | None = None
    history = History()
    faults: list[Fault] = []
    case: CaseFile | None
    resolved = resolve(source, folder)
    source = resolved.source
    problems += resolved.problems
    try:
        case, more, whole = CaseFile.model_validate(source.data), 0, not problems
    except ValidationError as error:
        case, whole = None, False
        faults, more = faults_of(error, source)
        faults += _further_faults(error, source, resolved.guides)
    if case is not None:
        case, converted = to_house(case)
        faults = [*converted, *cross_checks(case, resolved.guides)]
        if case.history and not as_earlier:
            history = read_history(case, folder, _load_earlier)
            faults += history.faults
            problems += history.problems
        case = count_done(case)
        if case.photos and not as_earlier:
            photos, unusable = load_photos(case.photos, folder)
            faults += unusable
        if not as_earlier:
            brand, unusable = load_brand(case, folder)
            faults += unusable
    problems += source.problems(faults)
    found = []
    if case is not None and whole:
        found = source.problems(warnings(case, source.data, resolved.guides))
    if problems or case is None:
        wrong = {problem.field for problem in problems}
        kept = [] if case is None or not whole else _sort_out(case, found, source)[0]
        kept = [problem for problem in kept if problem.field not in wrong]
        found = sorted([*problems, *kept], key=lambda p: p.file != file)  # profiles come last
        raise CaseProblems(in_file_order(found, more))
    kept, accepted = _sort_out(case, found, source)
    case = treated(case)
    files = (*resolved.files,
             *(f for f in history.files if f.name not in {r.name for r in resolved.files}),
             *(ProfileFile(p.name, p.sha256, "", p.jpeg, p.file_sha256) for p in photos),
             *([ProfileFile(brand.name, brand.sha256, "", brand.png, brand.file_sha256)]
               if brand is not None and brand.name else []))
    sha256 = digest(sha256, files)
    return LoadedCase(_override(case, overrides), sha256, in_file_order(kept), accepted, text, file,
                      files, resolved.guides, photos, tuple(history.cases), brand, source)


def with_earlier(loaded: LoadedCase, folder: Path) -> LoadedCase:
    """A case with the earlier cases of its field that lie in a folder or below it.

    Files that are no sound cases, of other fields or not earlier are passed over.

    Raises
    ------
    CaseProblems
        Two earlier cases of one date.
    """
    found = find_history(loaded.case, folder, _load_earlier)
    known = {e.case.case.id for e in loaded.earlier}
    more = [e for e in found.cases if e.case.case.id not in known]
    if not more:
        return loaded
    names = {f.name for f in loaded.files}
    files = tuple(f for f in found.files if f.name not in names)
    earlier = tuple(sorted((*loaded.earlier, *more), key=lambda e: e.case.case.date))
    return replace(loaded, earlier=earlier, files=(*loaded.files, *files),
                   sha256=digest(loaded.sha256, files))


def _load_earlier(raw: bytes, file: str, folder: Path) -> LoadedCase:
    return load_bytes(raw, file, folder=folder, as_earlier=True)


def _further_faults(error: ValidationError, source: SourceText,
                    guides: Iterable[LoadedGuide]) -> Iterable[Fault]:
    """Contradictions between the values that are right in a case that is not."""
    if error.error_count() > MOST_PRINTED:
        return []
    rest = salvage(source.data, error)
    if rest is None:
        return []
    case, converted = to_house(rest.case)
    standing = (rest.stands(fault) for fault in (*converted, *cross_checks(case, guides)))
    return [f for f in standing if f is not None and not is_refused(f.path, source)]


def _sort_out(
    case: CaseFile, found: list[Problem], source: SourceText,
    only: tuple[str, ...] = (),
) -> tuple[list[Problem], tuple[tuple[Problem, str], ...]]:
    """Warnings that remain, and those the adviser accepted with the reason.

    An entry that accepts what did not occur is a warning too; those on warnings of the plan are
    judged with the plan (``only``).
    """
    reasons = {(a.code, a.field): a.reason for a in case.accept}
    kept = [p for p in found if (p.code, p.field) not in reasons]
    accepted = [(p, reasons[p.code, p.field]) for p in found if (p.code, p.field) in reasons]
    occurred = {(p.code, p.field) for p in found}
    later = {*OF_ADVICE, *OF_PLAN, *asked_at_issue()}
    for i, entry in enumerate(case.accept):
        here = entry.code in only if only else entry.code not in later
        if here and (entry.code, entry.field) not in occurred:
            kept.append(source.problem(Fault(
                "CASE117", ("accept", i), f"{entry.code} for {entry.field!r}",
                "a warning of this case",
                "Copy code and field as they are printed; remove the entry if the warning has "
                "gone.",
            )))
    return kept, tuple(sorted(accepted, key=lambda pair: (pair[0].line, pair[0].column)))


def _override(case: CaseFile, overrides: dict[str, str | None]) -> CaseFile:
    given = {name: value for name, value in overrides.items() if value is not None}
    for name, value in given.items():
        if name not in OVERRIDES:
            raise UnknownName("override", name, tuple(OVERRIDES))
        if value not in OVERRIDES[name]:
            raise UnknownName(name, value, OVERRIDES[name])
    if not given:
        return case
    return case.model_copy(update={"case": case.case.printed_as(given)})
