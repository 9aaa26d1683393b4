"""`loambrief invoice`: lines for the adviser's book-keeping."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loambrief.cli.shared import PATH, PLACE, must_be_new, show_json, write_new
from loambrief.errors import CaseProblems

if TYPE_CHECKING:
    from loambrief.case.problems import Problem
    from loambrief.case.schema import CaseFile


@click.command()
@click.argument("places", nargs=-1, required=True, type=PLACE, metavar="PLACE...")
@click.option("-o", "--output", "target", type=PATH, required=True,
              help="File for the lines (.csv); must be new.")
@click.option("--work", type=PATH, metavar="FILE",
              help="Work log (CSV: date,case,kind,quantity,what,price): visits, hours, travel.")
@click.option("--settings", "settings_file", type=PATH,
              help="TOML file with a [fees] table; else that of your settings.")
@click.option("--archive", type=PATH, metavar="DIR", envvar="LOAMBRIEF_ARCHIVE", show_envvar=True,
              help="Archive, for the numbers of what was issued.")
@click.option("--json", "as_json", is_flag=True, help="Print the lines as JSON, too.")
def invoice(places: tuple[str, ...], target: Path, work: Path | None, settings_file: Path | None,
            archive: Path | None, as_json: bool) -> None:
    """Write invoice lines of cases: visits and hours of a work log, laboratory fees.

    What has no price is left without an amount, and counted. It is no invoice: tax and form are
    your book-keeping's.

    \b
    Examples:
      loambrief invoice cases/2026-10 --work work.csv -o invoice-2026-10.csv
    """
    from loambrief.batch.case_finder import find_cases
    from loambrief.batch.invoice import Fees, invoice_csv, invoice_lines, load_fees, read_work
    from loambrief.case.load import load_case

    must_be_new(target)
    fees = load_fees(settings_file) if settings_file else Fees()
    log = read_work(work) if work else ()
    cases: list[CaseFile] = []
    problems: list[Problem] = []
    for path in find_cases(places).cases:
        try:
            cases.append(load_case(path).case)
        except CaseProblems as error:
            problems += error.problems
    if problems:
        raise CaseProblems(tuple(problems))
    numbers: dict[str, str] = {}
    if archive is not None:
        from loambrief.archive.queries import find
        from loambrief.cli.shared import opened

        with opened(archive) as store:
            numbers = {str(row.case_id): row.number for row in find(store)
                       if row.status == "issued"}
    lines = invoice_lines(cases, log, fees, numbers)
    write_new(target, invoice_csv(lines))
    if as_json:
        show_json(lines)
    open_ones = sum(not line["amount"] for line in lines)
    click.echo(f"wrote {target}: {len(lines)} line{'s' * (len(lines) != 1)}"
               + (f", {open_ones} without a price" if open_ones else ""), err=as_json)
