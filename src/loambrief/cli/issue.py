"""`loambrief issue`: advisories that count."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli import INTERRUPTED
from loambrief.cli.shared import (
    ARCHIVE,
    FILES,
    OUTPUT,
    PATH,
    PLACE,
    QUIET,
    RATE_MAP,
    SHEET,
    TEMPLATES,
    not_told,
    own_words,
    show_json,
    warn,
    warn_lacking,
    warn_undrawn,
)
from loambrief.cli.signing import key_options, key_settings, opened_signer

if TYPE_CHECKING:
    from loambrief.archive.sign import Signed
    from loambrief.batch.issue_month import IssueRequest, IssueRun


@click.command()
@click.argument("places", nargs=-1, required=True, type=PLACE, metavar="PLACE...")
@ARCHIVE
@click.option("-o", "--output", type=OUTPUT, required=True,
              help="Folder for <number>-r<revision>.pdf, .annex.pdf and .json; of several cases "
                   "in a folder for each client.")
@click.option("--lab-file", "lab_files", type=PATH, multiple=True,
              help="A lab's file that the case names but that lies elsewhere; may be repeated.")
@click.option("--sign", "signing", is_flag=True, help="Sign as the adviser what is issued.")
@key_options
@click.option("--mail", is_flag=True,
              help="Also a letter to each client with what was issued; see loambrief send.")
@FILES
@SHEET
@RATE_MAP
@TEMPLATES
@click.option("--json", "as_json", is_flag=True, help="Print the outcome as JSON.")
@QUIET
def issue(places: tuple[str, ...], archive: Path, output: Path, lab_files: tuple[Path, ...],
          signing: bool, key: Path | None, settings_file: Path | None, level: str | None,
          passphrase_env: str | None, name_differs: str, mail: bool, files_as: str,
          applicator_sheet: bool, rate_map: bool, templates: Path | None, as_json: bool,
          quiet: bool) -> None:
    """Issue advisories: check that each case is complete, number it, enter it.

    A PLACE is a case file, a folder, a pattern in quotes or a list of them, as for batch.
    Everything that a written recommendation must hold and that is not there is reported at
    once; of several cases, those that pass are issued and the others are named with what they
    lack. The inputs are frozen in the archive. The same case again gives the same number and
    the same bytes, so a run that broke off is simply run again; a changed case is a new
    revision ('archive supersede').

    Exit code 0: all issued; 1: a case was not; 2: the run could not go on; 130: interrupted.

    \b
    Examples:
      loambrief archive init --archive records
      loambrief issue sample_inputs/acid_corn_ohio/case.yaml --archive records -o output
      loambrief issue cases/2026-10 --archive records -o issued/2026-10 --sign --key me.p12 --mail
    """
    from loambrief import pipeline
    from loambrief.archive.store import Store
    from loambrief.batch.case_finder import find_cases
    from loambrief.batch.issue_month import IssueRequest, issue_month
    from loambrief.batch.progress import progress_for
    from loambrief.record.issue import issue as issue_case

    words = own_words(templates)
    for option, given in (("--key", key), ("--level", level),
                          ("--passphrase-env", passphrase_env), ("--name-differs", name_differs)):
        if given and not signing:
            raise click.UsageError(f"{option} goes with --sign")
    found = find_cases(places, without=output)
    single = len(places) == 1 and found.cases == (Path(places[0]),)
    if single and not (mail or signing):
        with Store.open(archive) as store:
            made = issue_case(found.cases[0], store, lab_files=lab_files, words=words,
                              sheet=applicator_sheet, form=pipeline.Files(files_as),
                              rate_map=rate_map)
        written = pipeline.write_files(made.files, output)
        if as_json or not quiet:
            report(made, written, as_json)
        warn_undrawn(found.cases[0], made.undrawn)
        warn_lacking(made, sheet=applicator_sheet, rate_map=rate_map,
                     form=pipeline.Files(files_as))
        if not as_json and made.advice is not None:
            warn(pipeline.own_rate_warnings(made.advice))
        return
    sign = None
    if signing:
        sign = _signs(opened_signer(key_settings(key, settings_file, level, passphrase_env)),
                      name_differs)
    request = IssueRequest(found.cases, output, lab_files, words, applicator_sheet, single, mail,
                           sign, pipeline.Files(files_as), rate_map)
    with Store.open(archive) as store:
        done = issue_month(request, store, progress_for(sys.stderr, quiet=quiet or as_json))
    _tell(done, request, as_json, quiet)


def _signs(signer, name_differs: str) -> Callable[[bytes], Signed]:
    """Signs as the adviser, now, in the document's own language."""
    import datetime as dt

    from loambrief import pipeline
    from loambrief.archive.sign import Role, SignWords, language_of, sign

    def signs(pdf: bytes) -> Signed:
        return sign(pdf, signer, Role.ADVISER, now=dt.datetime.now(dt.UTC),
                    words=SignWords(**pipeline.sign_words(language_of(pdf))),
                    name_differs=name_differs)
    return signs


def _tell(done: IssueRun, request: IssueRequest, as_json: bool, quiet: bool) -> None:
    """What became of each case, and the exit code."""
    if as_json:
        show_json({
            "total": done.total, "issued": done.count("issued"),
            "already_issued": done.count("already issued"),
            "not_issued": done.count("not issued"), "not_tried": done.total - len(done.cases),
            "stopped_by": done.stopped, "interrupted": done.interrupted,
            "letters": [str(path) for path in done.letters],
            "no_letter": [{"client": one.client, "reason": one.reason} for one in done.no_letter],
            "cases": [{
                "path": str(case.path), "status": case.status, "case_id": case.case_id,
                "client": case.client, "number": case.made.number if case.made else None,
                "revision": case.made.revision if case.made else None,
                "files": [str(path) for path in case.files], "problems": list(case.problems),
                "warnings": list(case.warnings), "not_signed_as_asked": list(case.shortfalls),
            } for case in done.cases]})
    else:
        for case in done.cases:
            if case.made is not None and not quiet:
                click.echo(f"{case.status} as {case.made.number} revision {case.made.revision}: "
                           f"{case.path}, {case.client}")
            if case.problems:
                click.echo(f"not issued: {case.path}", err=True)
                for line in "\n".join(case.problems).splitlines():
                    click.echo(f"  {line}", err=True)
            warn(case.warnings)
            if case.made is not None:
                warn_undrawn(case.path, case.made.undrawn)
                warn_lacking(case.made, sheet=request.sheet, rate_map=request.rate_map,
                             form=request.form)
            for line in case.shortfalls:
                click.echo(f"loambrief: {case.path}: {line}", err=True)
        warn(not_told(done.no_letter, frozenset() if quiet else done.told))
        if not quiet:
            for path in done.letters:
                click.echo(f"wrote {path}")
            parts = [f"{done.count('issued')} issued",
                     f"{done.count('already issued')} already issued"]
            parts += [f"{n} {word}" for word, n in (
                ("not issued", done.count("not issued")),
                ("not tried", done.total - len(done.cases))) if n]
            click.echo(f"{done.total} case{'s' * (done.total != 1)}: {', '.join(parts)}")
    if done.stopped:
        click.echo(f"loambrief: stopped: {done.stopped}; run it again to issue the rest", err=True)
        sys.exit(2)
    if done.interrupted:
        click.echo("loambrief: interrupted; run it again to issue the rest", err=True)
        sys.exit(INTERRUPTED)
    sys.exit(0 if done.good else 1)


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
