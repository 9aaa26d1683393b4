"""`loambrief issue`: an advisory that counts."""

from __future__ import annotations

from pathlib import Path

import click

from loambrief.cli.shared import (
    ARCHIVE,
    FILES,
    OUTPUT,
    PATH,
    SHEET,
    TEMPLATES,
    own_words,
    show_json,
    warn,
)


@click.command()
@click.argument("case", type=PATH)
@ARCHIVE
@click.option("-o", "--output", type=OUTPUT, required=True,
              help="Folder for <number>-r<revision>.pdf, .annex.pdf and .json.")
@click.option("--lab-file", "lab_files", type=PATH, multiple=True,
              help="A lab's file that the case names but that lies elsewhere; may be repeated.")
@FILES
@SHEET
@TEMPLATES
@click.option("--json", "as_json", is_flag=True, help="Print the outcome as JSON.")
def issue(case: Path, archive: Path, output: Path, lab_files: tuple[Path, ...],
          files_as: str, applicator_sheet: bool, templates: Path | None, as_json: bool) -> None:
    """Issue the advisory of a case: check that it is complete, number it, enter it.

    Everything that a written recommendation must hold and that is not there is reported at
    once. The inputs are frozen in the archive. The same case again gives the same number and
    the same bytes; a changed case is a new revision ('archive supersede').

    \b
    Examples:
      loambrief archive init --archive records
      loambrief issue sample_inputs/acid_corn_ohio/case.yaml --archive records -o output
    """
    from loambrief import pipeline
    from loambrief.archive.store import Store
    from loambrief.record.issue import issue as issue_case

    words = own_words(templates)
    with Store.open(archive) as store:
        made = issue_case(case, store, lab_files=lab_files, words=words,
                          sheet=applicator_sheet, form=pipeline.Files(files_as))
    written = pipeline.write_files(made.files, output)
    report(made, written, as_json)
    if not as_json and made.advice is not None:
        warn(pipeline.own_rate_warnings(made.advice))


def report(made, written: tuple[Path, ...], as_json: bool) -> None:
    """What was issued, for people or programs."""
    if as_json:
        show_json({
            "number": made.number, "revision": made.revision, "again": made.again,
            "seq": made.seq, "head": made.head, "files": [str(p) for p in written]}, indent=None)
        return
    word = "already issued as" if made.again else "issued as"
    click.echo(f"{word} {made.number} revision {made.revision} (log line {made.seq}, "
               f"{made.head[:16]})")
    for path in written:
        click.echo(f"wrote {path}")
