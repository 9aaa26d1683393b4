"""`loambrief intake`: a lab's file or a filled field sheet into a case."""

from __future__ import annotations

from pathlib import Path

import click

from loambrief.cli.shared import PATH, must_be_new, show_json, warn


@click.command()
@click.argument("file", type=PATH)
@click.option("--map", "mapping", type=PATH, help="Which column is what; see --guess.")
@click.option("--update", type=PATH, help="Put it into this case; its other text stays.")
@click.option("-o", "--output", type=PATH,
              help="Folder to write to  [default: output, or the case itself with --update].")
@click.option("--field", help="Only the rows of this field.")
@click.option("--crop", default="corn", show_default=True, help="Crop of a new case.")
@click.option("--guess", is_flag=True, help="Propose a mapping to complete and confirm.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
def intake(file: Path, mapping: Path | None, update: Path | None, output: Path | None,
           field: str | None, crop: str, guess: bool, as_json: bool) -> None:
    """Take a lab's CSV, TSV or .xlsx file, or a filled field sheet, into a case.

    \b
    Examples:
      loambrief intake results.csv --guess -o maps
      loambrief intake results.csv --map maps/results.map.yaml -o cases
      loambrief intake results.csv --map maps/results.map.yaml --update cases/east40.yaml
      loambrief intake filled-fieldsheet.pdf --update cases/east40.yaml
    """
    from loambrief.case.sheet_read import is_pdf

    if is_pdf(file):
        if guess or mapping is not None or field is not None:
            raise click.UsageError("a field sheet needs no --map, --guess or --field")
        _sheet(file, update, output, as_json)
        return
    if guess == (mapping is not None):
        raise click.UsageError("give either --map MAP, or --guess to have one proposed")
    if guess:
        _guess(file, output or Path("output"), as_json)
        return
    from loambrief.case.intake import take_in
    from loambrief.case.intake_case import new_case, updated_case
    from loambrief.case.intake_map import load_map
    from loambrief.case.reader import read_bytes
    from loambrief.pipeline import write_files

    taken = take_in(file, load_map(mapping), field)
    if update is not None:
        path = update.resolve() if output is None else output / update.name
        written = updated_case(read_bytes(update), str(update), taken, folder=update.parent)
    else:
        path = (output or Path("output")) / f"{file.stem}.yaml"
        must_be_new(path)
        written = new_case(taken, str(path), crop=crop)
    write_files({path.name: written.content}, path.parent)
    notes = [*taken.notes, *written.notes]
    if as_json:
        show_json({
            "file": str(path), "samples": [s.id for s in taken.samples],
            "lab_file_sha256": taken.table.sha256, "notes": notes,
            "problems": [p.as_json() for p in written.problems],
        })
        return
    warn(written.problems)
    for note in notes:
        click.echo(note)
    click.echo(f"wrote {path}")


def _sheet(file: Path, update: Path | None, output: Path | None, as_json: bool) -> None:
    """A filled field sheet into a case."""
    from loambrief.case.reader import read_bytes
    from loambrief.case.sheet_case import new_from_sheet, updated_from_sheet
    from loambrief.case.sheet_read import read_sheet
    from loambrief.pipeline import write_files

    filled = read_sheet(file)
    if update is not None:
        path = update.resolve() if output is None else output / update.name
        written = updated_from_sheet(read_bytes(update), str(update), filled, update.parent)
    else:
        path = (output or Path("output")) / f"{file.stem}.yaml"
        must_be_new(path)
        written = new_from_sheet(filled, str(path))
    write_files({path.name: written.content}, path.parent)
    if as_json:
        show_json({
            "file": str(path), "sheet": filled.layout.sheet, "case_id": filled.layout.case_id,
            "boxes_filled": len(filled.values), "notes": list(written.notes),
            "problems": [p.as_json() for p in written.problems],
        })
        return
    warn(written.problems)
    for note in written.notes:
        click.echo(note)
    click.echo(f"wrote {path}")


def _guess(file: Path, folder: Path, as_json: bool) -> None:
    from loambrief.case.intake_guess import guess_map
    from loambrief.pipeline import write_files

    path = folder / f"{file.stem}.map.yaml"
    must_be_new(path)
    guess = guess_map(file)
    write_files({path.name: guess.text.encode("utf-8")}, folder)
    if as_json:
        show_json({
            "file": str(path), "columns": [p.as_json() for p in guess.proposals],
            "not_recognised": list(guess.unknown),
        })
        return
    for part in guess.proposals:
        unit = f" [{part.unit}]" if part.unit else ""
        click.echo(f"{part.header} -> {part.name}{unit}  confidence {part.confidence:.2f}")
    for header in guess.unknown:
        click.echo(f"{header} -> not recognised")
    click.echo(f'wrote {path}; fill in each "?", check every line, then set confirmed: yes')
