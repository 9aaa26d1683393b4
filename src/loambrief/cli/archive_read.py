"""The commands of `loambrief archive` that only look."""

import datetime as dt
import sys
from dataclasses import asdict
from pathlib import Path

import click

from loambrief.cli.shared import ARCHIVE, JSON, OUTPUT, PATH, opened, show_json

DAY = click.DateTime(formats=["%Y-%m-%d"])
def day(value: dt.datetime | None) -> dt.date | None:
    return value.date() if value else None


@click.command("list")
@ARCHIVE
@JSON
def list_(archive: Path, as_json: bool) -> None:
    """List every revision of every advisory.

    \b
    Examples:
      loambrief archive list --archive records
    """
    from loambrief.archive.queries import find

    with opened(archive) as store:
        _rows(find(store), as_json)


def _rows(rows, as_json: bool) -> None:
    from loambrief.archive.queries import summary

    if as_json:
        show_json([asdict(row) for row in rows])
        return
    for row in rows:
        click.echo(summary(row))
    if not rows:
        click.echo("nothing found", err=True)


@click.command()
@ARCHIVE
@click.option("--client", help="Part of the client's name; case and accents do not matter.")
@click.option("--field", help="Part of the field's name or id.")
@click.option("--crop", help="Part of the crop's name.")
@click.option("--action", help="Part of an action's id or title.")
@click.option("--material", help="Part of a material's name.")
@click.option("--since", type=DAY, help="Date of the advisory, from.")
@click.option("--until", type=DAY, help="Date of the advisory, to.")
@click.option("--status", type=click.Choice(["issued", "superseded", "withdrawn", "erased"]),
              help="Only records of this state.")
@click.option("--text", help="Words that all occur in the record; 'word*' for a beginning.")
@JSON
def find(archive: Path, since: dt.datetime | None, until: dt.datetime | None, as_json: bool,
         **wanted: str | None) -> None:
    """Find advisories; every condition given must hold.

    \b
    Examples:
      loambrief archive find --archive records --client pruett --crop corn
      loambrief archive find --archive records --text "foxtail ditch" --status issued
    """
    from loambrief.archive.queries import Search
    from loambrief.archive.queries import find as look

    with opened(archive) as store:
        _rows(look(store, Search(since=day(since), until=day(until), **wanted)), as_json)


@click.command()
@click.argument("number")
@ARCHIVE
@JSON
def show(number: str, archive: Path, as_json: bool) -> None:
    """Show one advisory: its revisions, events and files.

    \b
    Examples:
      loambrief archive show IV-2026-0001 --archive records
    """
    from loambrief.archive.queries import find as look
    from loambrief.archive.queries import history, keep_until, summary

    with opened(archive) as store:
        events = history(store, number)
        rows = [row for row in look(store) if row.number == number]
        kept = {row.revision: keep_until(store, row) for row in rows}
    if as_json:
        show_json({"revisions": [asdict(row) | {"keep_until": str(kept[row.revision] or "")}
                                 for row in rows], "events": events})
        return
    for row in rows:
        until = f", kept until {kept[row.revision]}" if kept[row.revision] else ""
        click.echo(f"{summary(row)}{until}")
    for event in events:
        gone = " (erased)" if event["erased"] else ""
        click.echo(f"{event['seq']:>6}  {event['time']}  {event['op']}{gone}")
        for file in event["files"]:
            click.echo(f"        {file['sha256'][:16]}  {file['role']:<9} {file['name']}")


@click.command()
@ARCHIVE
@click.option("--head", metavar="DIGEST",
              help="A head noted earlier; the log must still contain it.")
@JSON
def check(archive: Path, head: str | None, as_json: bool) -> None:
    """Check log, files and index down to the last byte; exit 1 at a break.

    A log that was rewritten as a whole is found out only with a head that was noted outside
    the archive: print one with 'archive head', and keep it where the archive's keeper cannot
    change it.

    \b
    Examples:
      loambrief archive check --archive records
      loambrief archive check --archive records --head 3f8a...
    """
    from loambrief.archive.check import check as examine

    with opened(archive) as store:
        found = examine(store, head)
    if as_json:
        show_json(found.as_json())
    else:
        for broken in found.breaks:
            click.echo(str(broken))
        for note in found.notes:
            click.echo(f"note: {note}")
        if found.anchored is not None:
            click.echo(f"the noted head is line {found.anchored} of {found.lines}")
        click.echo(f"{'good' if found.good else 'NOT GOOD'}: {found.lines} lines, "
                   f"{found.files} files, {found.erased} erased; head {found.head}")
    if not found.good:
        sys.exit(1)


@click.command()
@ARCHIVE
@JSON
def head(archive: Path, as_json: bool) -> None:
    """Print the digest of the last line, to be noted elsewhere.

    \b
    Examples:
      loambrief archive head --archive records
    """
    with opened(archive) as store:
        seq, digest = store.head
    if as_json:
        show_json({"seq": seq, "head": digest})
    else:
        click.echo(f"{digest}  line {seq}")


@click.command()
@ARCHIVE
@click.option("--on", type=DAY, help="The day to look from.  [default: today]")
@click.option("--days", default=30, show_default=True, help="How far to look back and ahead.")
@JSON
def due(archive: Path, on: dt.datetime | None, days: int, as_json: bool) -> None:
    """What falls due: advisories that end to hold, looks and re-tests, records to let go.

    \b
    Examples:
      loambrief archive due --archive records
      loambrief archive due --archive records --on 2027-04-15 --days 60
    """
    from loambrief.archive.queries import due as fall_due

    with opened(archive) as store:
        found = fall_due(store, day(on) or dt.date.today(), days)
    if as_json:
        show_json([asdict(item) for item in found])
        return
    for item in found:
        held = " [held: not to be erased]" if item.held and item.kind == "retention" else ""
        who = ", ".join(filter(None, (item.client, item.field)))
        name = f"{item.number} r{item.revision}" if item.number else "documents"
        click.echo(f"{item.due}  {item.kind:<9}  {name}  {who}: "
                   f"{item.what}{held}")
    if not found:
        click.echo("nothing falls due", err=True)


@click.command()
@click.option("--client", required=True, help="Name of the client.")
@ARCHIVE
@click.option("-o", "--output", type=PATH, required=True,
              help="A folder, or a file that ends in .zip; must be new.")
@JSON
def export(client: str, archive: Path, output: Path, as_json: bool) -> None:
    """Export everything held of one client, with a list of it.

    Advisories that no longer hold are marked as such on each page; as they were issued they
    are under original/.

    \b
    Examples:
      loambrief archive export --client "Pruett & Daughters Grain" --archive records -o file.zip
    """
    from loambrief import pipeline
    from loambrief.cli.shared import must_be_new
    from loambrief.record.export import export_client, zipped

    must_be_new(output)
    with opened(archive) as store:
        files = export_client(store, client)
    if output.suffix == ".zip":
        pipeline.write_files({output.name: zipped(files)}, output.parent)
    else:
        for path, content in files.items():
            target = output / path
            pipeline.write_files({target.name: content}, target.parent)
    if as_json:
        show_json({"output": str(output), "files": list(files)})
    else:
        click.echo(f"wrote {output}: {len(files)} files")


@click.command()
@click.argument("number")
@ARCHIVE
@click.option("--revision", type=int, help="Instead of the latest.")
@click.option("-o", "--output", type=OUTPUT, help="Folder for the PDF as it is made now.")
@click.option("--stored", is_flag=True, help="Write the stored files, not those made now.")
@JSON
def render(number: str, archive: Path, revision: int | None, output: Path | None, stored: bool,
           as_json: bool) -> None:
    """Make an advisory again from its frozen inputs and compare byte for byte.

    Exit 1 if it differs; what it was made with then and now is named. The PDF of a withdrawn
    or replaced advisory is written with the mark on each page.

    \b
    Examples:
      loambrief archive render IV-2026-0001 --archive records
      loambrief archive render IV-2026-0001 --archive records --stored -o again
    """
    from loambrief import pipeline
    from loambrief.record.cards import record
    from loambrief.record.export import MARKS
    from loambrief.record.issue import stored_files
    from loambrief.record.rerender import marked_stem, render_again, rerender
    from loambrief.report.blocks import DocumentStatus

    with opened(archive) as store:
        found = record(store, number, revision)
        if stored:
            if output is None:
                raise click.UsageError("--stored wants -o")
            for path in pipeline.write_files(stored_files(store, found["seq"]), output):
                click.echo(f"wrote {path}")
            return
        outcome = rerender(store, number, found["revision"])
        if output is not None:
            mark = MARKS.get(found["status"], DocumentStatus.ISSUED)
            made = outcome.advisory if mark is DocumentStatus.ISSUED else render_again(
                store, number, found["revision"], status=mark)
            stem = marked_stem(number, found["revision"], mark)
            pipeline.write_files({name: content for name, content in made.files(stem).items()
                                  if name.endswith(".pdf")}, output)
    if as_json:
        show_json(outcome.as_json())
    else:
        click.echo(f"{number} revision {outcome.revision}: "
                   + ("the same, byte for byte" if outcome.same else "DIFFERS"))
        for text in outcome.differences:
            click.echo(f"  made with {text}")
    if not outcome.same:
        sys.exit(1)
