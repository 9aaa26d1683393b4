"""`loambrief intake`: a lab's file, a filled field sheet or workbook into a case."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli.shared import OUTPUT, PATH, completing, must_be_new, show_json, warn

if TYPE_CHECKING:
    from loambrief.case.intake_case import Written


@click.command()
@click.argument("file", type=PATH)
@click.option("--map", "mapping", type=PATH, help="Which column is what; see --guess.")
@click.option("--update", type=PATH, help="Put it into this case; its other text stays.")
@click.option("-o", "--output", type=OUTPUT,
              help="Folder to write to  [default: output, or the case itself with --update].")
@click.option("--field", help="Only the rows of this field.")
@click.option("--crop", shell_complete=completing("crops"),
              help="Crop of a new case.  [default: corn]")
@click.option("--guess", is_flag=True, help="Propose a mapping to complete and confirm.")
@click.option("--kind", type=click.Choice(["soil", "forage", "water", "tissue", "manure",
                                           "compost"]),
              help="Kind of report for --guess, where the file does not settle it.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def intake(file: Path, mapping: Path | None, update: Path | None, output: Path | None,
           field: str | None, crop: str | None, guess: bool, kind: str | None,
           as_json: bool) -> None:
    """Take a lab's file, or a filled field sheet or workbook, into a case.

    Lab files are CSV, TSV, .xlsx, .xls or .ods: reports of soil, forage, water, tissue, manure
    and compost. `loambrief schema --map` prints every key that a mapping may hold, with an
    example.

    \b
    Examples:
      loambrief intake results.csv --guess -o maps
      loambrief intake results.csv --map maps/results.map.yaml -o cases
      loambrief intake results.csv --map maps/results.map.yaml --update cases/east40.yaml
      loambrief intake filled-fieldsheet.pdf --update cases/east40.yaml
      loambrief intake output/tarrow-east-40.xlsx -o cases
    """
    from loambrief.case.sheet_read import is_pdf

    if crop and (update is not None or guess):
        raise click.UsageError("--crop is for a new case; without --update and --guess")
    if is_pdf(file) or _is_workbook(file):
        if guess or mapping is not None or field is not None or crop:
            raise click.UsageError(f"a {'field sheet' if is_pdf(file) else 'workbook'} needs no "
                                   "--map, --guess, --field or --crop")
        (_sheet if is_pdf(file) else _workbook)(file, update, output, as_json)
        return
    if kind and not guess:
        raise click.UsageError("--kind is for --guess; a mapping says it in 'report'")
    if guess == (mapping is not None):
        raise click.UsageError("give either --map MAP, or --guess to have one proposed")
    if mapping is None:
        _guess(file, output or Path("output"), kind, as_json)
        return
    from loambrief.case.intake import take_in
    from loambrief.case.intake_case import new_case, updated_case
    from loambrief.case.intake_map import load_map

    taken = take_in(file, load_map(mapping), field)
    _take_in(file, update, output, as_json,
             lambda path: new_case(taken, str(path), crop=crop or "corn"),
             lambda raw, name, folder: updated_case(raw, name, taken, folder),
             {"samples": [s.id for s in taken.samples], "lab_file_sha256": taken.table.sha256},
             taken.notes)


def _take_in(file: Path, update: Path | None, output: Path | None, as_json: bool,
             new: Callable[[Path], Written], updated: Callable[[bytes, str, Path], Written],
             about: Mapping[str, object], notes: Sequence[str] = ()) -> None:
    """Write a new case, or what was taken in into the old one, and say what came of it."""
    from loambrief.case.reader import read_bytes

    if update is not None:
        path = _place_of(update, output)
        written = updated(read_bytes(update), str(update), update.parent)
    else:
        path = (output or Path("output")) / f"{file.stem}.yaml"
        must_be_new(path)
        written = new(path)
    _write(written.content, path)
    notes = [*notes, *written.notes, *_left_behind(written.content, update, path)]
    if as_json:
        show_json({"file": str(path), **about, "notes": notes,
                   "problems": [p.as_json() for p in written.problems]})
        return
    warn(written.problems)
    for note in notes:
        click.echo(note)
    click.echo(f"wrote {path}")


def _is_workbook(file: Path) -> bool:
    if file.suffix.lower() not in (".xlsx", ".xlsm"):
        return False
    from loambrief.case.workbook_read import is_workbook

    return is_workbook(file)


def _workbook(file: Path, update: Path | None, output: Path | None, as_json: bool) -> None:
    """A filled workbook into a case."""
    from loambrief.case.workbook_case import new_from_workbook, updated_from_workbook
    from loambrief.case.workbook_read import read_workbook

    book = read_workbook(file)
    _take_in(file, update, output, as_json,
             lambda path: new_from_workbook(book, path.parent),
             lambda raw, name, folder: updated_from_workbook(raw, name, book, folder),
             {"cells_filled": book.filled})


def _sheet(file: Path, update: Path | None, output: Path | None, as_json: bool) -> None:
    """A filled field sheet into a case."""
    from loambrief.case.sheet_case import new_from_sheet, updated_from_sheet
    from loambrief.case.sheet_read import read_sheet

    filled = read_sheet(file)
    _take_in(file, update, output, as_json,
             lambda path: new_from_sheet(filled, str(path)),
             lambda raw, name, folder: updated_from_sheet(raw, name, filled, folder),
             {"sheet": filled.layout.sheet, "case_id": filled.layout.case_id,
              "boxes_filled": len(filled.values)})


def _place_of(update: Path, output: Path | None) -> Path:
    """Where the case is written that takes the results in."""
    if output is None:
        return update
    path = output / update.name
    if path.resolve() != update.resolve():
        must_be_new(path)
    return path


def _write(content: bytes, path: Path) -> None:
    """Write a case; where a link stands, the file that it leads to."""
    from loambrief.pipeline import write_files

    real = path.resolve()
    write_files({real.name: content}, real.parent)


def _left_behind(content: bytes, update: Path | None, path: Path) -> list[str]:
    """A note on the files that a case names and that are not where it was written to."""
    from loambrief.case.attached import missing_elsewhere

    if update is None:
        return []
    names = missing_elsewhere(content, update.parent, path.parent)
    if not names:
        return []
    return [f"files that the case names are not in {path.parent}: {', '.join(names)}; copy them "
            f"there, or leave out -o to write into {update}"]


def _guess(file: Path, folder: Path, kind: str | None, as_json: bool) -> None:
    from loambrief.case.intake_guess import guess_map
    from loambrief.pipeline import write_files

    path = folder / f"{file.stem}.map.yaml"
    must_be_new(path)
    guess = guess_map(file, kind)
    write_files({path.name: guess.text.encode("utf-8")}, folder)
    if as_json:
        show_json({
            "file": str(path), "report": guess.kind.name, "because": list(guess.kind.why),
            "columns": [p.as_json() for p in guess.proposals],
            "not_recognised": list(guess.unknown),
        })
        return
    why = "--kind" if kind else ", ".join(guess.kind.why)
    click.echo(f"kind of report: {guess.kind.name} ({why})")
    for part in guess.proposals:
        unit = f" [{part.unit}]" if part.unit else ""
        click.echo(f"{part.header} -> {part.name}{unit}  confidence {part.confidence:.2f}")
    for header in guess.unknown:
        click.echo(f"{header} -> not recognised")
    click.echo(f'wrote {path}; fill in each "?", check every line, then set confirmed: yes')
