"""A filled workbook into a case: a new one, or the one that it was made from."""

from collections.abc import Mapping
from pathlib import Path

from loambrief.case.intake_case import Written
from loambrief.case.load import load_bytes, load_source
from loambrief.case.problems import Problem, in_file_order, severity
from loambrief.case.reader import decode, read_text
from loambrief.case.workbook_read import FilledBook
from loambrief.case.workbook_rows import digests, settled, spread
from loambrief.case.yaml_change import rewritten
from loambrief.case.yaml_edit import emit
from loambrief.errors import CaseProblems


def new_from_workbook(book: FilledBook, folder: Path) -> Written:
    """The case that a workbook describes, as a file of its own in a folder.

    Raises
    ------
    CaseProblems
        Every problem of the case, at its cell.
    """
    warnings = _judged(book, folder)
    assert isinstance(book.source.data, Mapping)
    blocks = ["\n".join(emit({key: value})) for key, value in book.source.data.items()]
    return Written(("\n\n".join(blocks) + "\n").encode("utf-8"), _said(book), warnings)


def updated_from_workbook(raw: bytes, file: str, book: FilledBook, folder: Path) -> Written:
    """The case that a workbook was made from, with what was changed in the workbook.

    A part that stands in both as the workbook was made from it, or that was changed only in the
    case, stays as it is typed.

    Raises
    ------
    CaseProblems
        Every problem of the case, at its cell; a part that was changed in the case and,
        otherwise, in the workbook.
    """
    source, problems = read_text(decode(raw, file), file)
    data = source.data if isinstance(source.data, Mapping) else {}
    if not problems:
        problems = source.problems(spread(data)[1])
    if problems:
        raise CaseProblems(in_file_order(problems))
    assert isinstance(book.source.data, Mapping)
    new, old = dict(book.source.data), settled(data)
    now, then, made = digests(old), book.base, digests(new)
    kept = [key for key in {**old, **new} if then.get(key) == made.get(key) != now.get(key)]
    clash = [key for key in {**old, **new}
             if len({now.get(key), then.get(key), made.get(key)}) == 3]
    if clash:
        raise CaseProblems(in_file_order([_clash(book, key, file) for key in clash]))
    warnings = _judged(book, folder) if not kept else ()  # else the case as it will be
    changed = [key for key in {**old, **new} if made.get(key) != now.get(key) and key not in kept]
    if not changed:
        return Written(raw, (*_said(book), "nothing to change"), warnings)
    content, lost = rewritten(raw, file, {key: new.get(key) for key in changed})
    if kept:
        warnings = load_bytes(content, file, folder=folder).warnings
    notes = [f"changed: {', '.join(key for key in changed if key in new)}"]
    gone = ", ".join(key for key in changed if key not in new)
    notes += [f"taken out, empty in the workbook: {gone}"] if gone else []
    notes += [f"kept as the case has it: {', '.join(kept)}"] if kept else []
    return Written(content, (*_said(book), *notes, *lost), warnings)


def _judged(book: FilledBook, folder: Path) -> tuple[Problem, ...]:
    """Warnings of the case that the workbook describes."""
    return load_source(book.source, [], book.sha256, folder=folder).warnings


def _clash(book: FilledBook, key: str, file: str) -> Problem:
    mark = book.source.mark((key,))
    return Problem(book.source.file, mark.line, mark.column, "CASE079", key,
                   f"a change, and another one in {file} since the workbook was made",
                   "a change in one of them",
                   help="Make a new workbook of the case, or take this one in as a new case: "
                        "loambrief intake FILE -o DIR", severity=severity("CASE079"),
                   cell=getattr(mark, "cell", ""))


def _said(book: FilledBook) -> tuple[str, ...]:
    return (f"{book.filled} cells filled",)
