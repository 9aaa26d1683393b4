"""The commands of `loambrief archive` that enter something in the log."""

from pathlib import Path

import click

from loambrief.cli.issue import report
from loambrief.cli.shared import (
    ARCHIVE,
    FILES,
    JSON,
    OUTPUT,
    PATH,
    RATE_MAP,
    SHEET,
    TEMPLATES,
    opened,
    own_words,
    show_json,
    warn_undrawn,
)

REASON = click.option("--reason", required=True, help="Why, in your words; it is printed.")
CLIENT = click.option("--client", help="Name of a client: everything held of it.")
NUMBER = click.option("--number", help="Number of an advisory: all its revisions.")
KEEP = click.option("--keep", multiple=True, metavar="CLASS=YEARS",
                    help="Years that advisory, notice or document are kept; your law and "
                         "contract decide. May be repeated.")
PATTERN = click.option("--pattern", help="Of numbers, such as '{prefix}-{year}-{serial:4}'.")
PREFIX = click.option("--prefix", help="In place of the adviser's initials.")
START = click.option("--keep-from", "start", type=click.Choice(["validity", "issue"]),
                     help="What the years count from: the end of validity, or the entry.")


def _years(keep: tuple[str, ...]) -> dict[str, int] | None:
    years = {}
    for item in keep:
        name, sign, count = item.partition("=")
        if not sign or not count.isdigit():
            raise click.UsageError(f"--keep {item!r}: CLASS=YEARS is wanted")
        years[name] = int(count)
    return years or None


def _entered(line, as_json: bool, **more: object) -> None:
    if as_json:
        show_json({"seq": line.seq, "head": line.digest, **more})
    else:
        click.echo(f"entered as line {line.seq} ({line.digest[:16]})")


@click.command()
@ARCHIVE
@PATTERN
@PREFIX
@KEEP
@START
def init(archive: Path, pattern: str | None, prefix: str | None, keep: tuple[str, ...],
         start: str | None) -> None:
    """Make an empty archive.

    \b
    Examples:
      loambrief archive init --archive records
      loambrief archive init --archive records --prefix QF --keep advisory=10
    """
    from loambrief.archive.settings import Settings
    from loambrief.archive.store import Store

    settings = Settings().changed({"pattern": pattern, "prefix": prefix, "years": _years(keep),
                                   "start": start})
    Store.create(archive, settings).close()
    click.echo(f"made {archive}; keeps advisories {settings.years['advisory']} years: law and "
               "contract may want longer")


@click.command("set")
@ARCHIVE
@PATTERN
@PREFIX
@KEEP
@START
@JSON
def set_(archive: Path, pattern: str | None, prefix: str | None, keep: tuple[str, ...],
         start: str | None, as_json: bool) -> None:
    """Change how the archive numbers and keeps; the change stands in the log.

    \b
    Examples:
      loambrief archive set --archive records --keep advisory=10
    """
    with opened(archive) as store, store.writing():
        settings = store.settings.changed({"pattern": pattern, "prefix": prefix,
                                           "years": _years(keep), "start": start})
        if settings == store.settings:
            raise click.UsageError("nothing to change")
        _entered(store.commit("settings", {"settings": settings.as_json()}), as_json)


@click.command()
@click.argument("files", nargs=-1, required=True, type=PATH, metavar="FILE...")
@ARCHIVE
@click.option("--role", default="other", show_default=True,
              type=click.Choice(["signed", "acknowledgement", "delivery", "lab", "photo",
                                 "other"]), help="What the file is.")
@click.option("--number", help="Advisory they belong to.")
@click.option("--revision", type=int, help="Instead of the latest.")
@click.option("--client", help="Client they belong to, where no advisory.")
@click.option("--note", default="", help="What they are.")
@JSON
def add(files: tuple[Path, ...], archive: Path, as_json: bool, **about) -> None:
    """Put further files into the record, such as a signed copy.

    \b
    Examples:
      loambrief archive add signed.pdf --role signed --number IV-2026-0001 --archive records
    """
    from loambrief.record.retention import add as put

    with opened(archive) as store:
        _entered(put(store, files, **about), as_json)


@click.command()
@click.argument("number")
@click.argument("case", type=PATH)
@ARCHIVE
@REASON
@click.option("--kind", default="new-data", show_default=True,
              type=click.Choice(["clerical", "new-data", "changed-conditions", "error"]),
              help="Why a new revision is needed.")
@click.option("-o", "--output", type=OUTPUT, required=True, help="Folder for the new revision.")
@click.option("--lab-file", "lab_files", type=PATH, multiple=True,
              help="A lab's file that lies elsewhere; may be repeated.")
@FILES
@SHEET
@RATE_MAP
@TEMPLATES
@JSON
def supersede(number: str, case: Path, archive: Path, reason: str, kind: str, output: Path,
              lab_files: tuple[Path, ...], files_as: str, applicator_sheet: bool,
              rate_map: bool, templates: Path | None, as_json: bool) -> None:
    """Issue the next revision from a changed case, with a page of what changed.

    \b
    Examples:
      loambrief archive supersede IV-2026-0001 case.yaml --archive records -o output \\
          --reason "The lab corrected the pH of the north zone."
    """
    from loambrief import pipeline
    from loambrief.record.supersede import supersede as replace

    with opened(archive) as store:
        made = replace(number, case, store, reason=reason, kind=kind, lab_files=lab_files,
                       words=own_words(templates), sheet=applicator_sheet,
                       form=pipeline.Files(files_as), rate_map=rate_map)
    warn_undrawn(case, made.undrawn)
    report(made, pipeline.write_files(made.files, output), as_json)


@click.command()
@click.argument("number")
@ARCHIVE
@REASON
@click.option("--notice", default="", help="What the client is to do now; printed.")
@click.option("-o", "--output", type=OUTPUT, required=True, help="Folder for the notice.")
@JSON
def withdraw(number: str, archive: Path, reason: str, notice: str, output: Path,
             as_json: bool) -> None:
    """Withdraw an advisory, with a notice for the client.

    \b
    Examples:
      loambrief archive withdraw IV-2026-0001 --archive records -o output \\
          --reason "Samples of two fields were swapped." --notice "Do not spread lime."
    """
    from loambrief import pipeline
    from loambrief.record.withdraw import withdraw as take_back

    with opened(archive) as store:
        made = take_back(number, store, reason=reason, notice=notice)
    written = pipeline.write_files(made.files, output)
    if as_json:
        show_json({"number": made.number, "revision": made.revision, "seq": made.seq,
                   "head": made.head, "files": [str(p) for p in written]})
        return
    click.echo(f"withdrew {made.number} revision {made.revision}")
    for path in written:
        click.echo(f"wrote {path}")


@click.command()
@ARCHIVE
@CLIENT
@NUMBER
@REASON
@JSON
def hold(archive: Path, client: str | None, number: str | None, reason: str,
         as_json: bool) -> None:
    """Put a legal hold on a client or an advisory: it cannot be erased.

    \b
    Examples:
      loambrief archive hold --client "Pruett & Daughters Grain" --reason "Claim 18-4" \\
          --archive records
    """
    from loambrief.record.retention import hold as keep
    from loambrief.record.retention import scope_of

    with opened(archive) as store:
        _entered(keep(store, scope_of(store, client=client, number=number), reason), as_json)


@click.command()
@ARCHIVE
@CLIENT
@NUMBER
@REASON
@JSON
def release(archive: Path, client: str | None, number: str | None, reason: str,
            as_json: bool) -> None:
    """End a legal hold.

    \b
    Examples:
      loambrief archive release --client "Pruett & Daughters Grain" --reason "Settled" \\
          --archive records
    """
    from loambrief.record.retention import release as end
    from loambrief.record.retention import scope_of

    with opened(archive) as store:
        _entered(end(store, scope_of(store, client=client, number=number), reason), as_json)


@click.command()
@ARCHIVE
@CLIENT
@NUMBER
@click.option("--cause", default="request", show_default=True,
              type=click.Choice(["request", "retention", "mistake"]), help="Why it is erased.")
@click.option("--reason", default="", help="Why a record goes that is to be kept still.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@JSON
def erase(archive: Path, client: str | None, number: str | None, cause: str, reason: str,
          yes: bool, as_json: bool) -> None:
    """Erase a client or an advisory for good; the log keeps number and digests alone.

    Copies outside the archive, such as backups and mail, are yours to find. Exit 1 if a name
    is left in a file that belongs to other clients too; those files are listed. Records that
    are to be kept still are named in a warning, and go only with --reason.

    \b
    Examples:
      loambrief archive erase --client "Pruett & Daughters Grain" --yes --archive records \\
          --reason "Asked for by law"
    """
    import sys

    from loambrief.record.retention import erase as forget
    from loambrief.record.retention import scope_of, to_be_kept

    with opened(archive) as store:
        scope = scope_of(store, client=client, number=number)
        for line in to_be_kept(store, scope) if reason else ():
            click.echo(f"loambrief: warning: {line}", err=True)
        if not yes:
            click.confirm(f"Erase {client or number} for good?", abort=True, err=True)
        gone = forget(store, scope, cause=cause, reason=reason)
    _entered(gone.line, as_json, erased=gone.records, left=list(gone.left))
    for name in gone.left:
        click.echo(f"still names it, and belongs to others too: {name}", err=True)
    if gone.left:
        sys.exit(1)


@click.command()
@click.argument("number")
@ARCHIVE
@click.option("--revision", type=int, help="Instead of the latest.")
@click.option("-o", "--output", type=OUTPUT, help="Folder for the copy.")
@click.option("--strike", "words", multiple=True, metavar="WORDS",
              help="Also strike these, such as a neighbour's name; may be repeated.")
@click.option("--strike-list", type=PATH, metavar="FILE",
              help="Also strike what stands in this text file, one name a line.")
@click.option("--preview", "only_preview", is_flag=True,
              help="Only show what would be struck and which texts would stay; make nothing.")
@JSON
def redact(number: str, archive: Path, revision: int | None, output: Path | None,
           words: tuple[str, ...], strike_list: Path | None, only_preview: bool,
           as_json: bool) -> None:
    """Make a copy without names, numbers, places and landmarks, to show to others.

    Soil, crop, readings and prices stay, so that who knows the field may recognise it. Look at
    --preview first: what stays, and no list knows, is yours to strike. If anything struck is
    found in the finished copy, its attachments or its data, no copy is made.

    \b
    Examples:
      loambrief archive redact IV-2026-0001 --archive records --preview
      loambrief archive redact IV-2026-0001 --archive records -o to-the-bank --strike "Mill ditch"
    """
    from loambrief import pipeline
    from loambrief.record.redact import preview
    from loambrief.record.redact import redact as strike

    if strike_list is not None:
        words += tuple(strike_list.read_text(encoding="utf-8-sig").splitlines())
    if only_preview:
        with opened(archive) as store:
            seen = preview(number, store, revision, words)
        if as_json:
            show_json({"struck": list(seen.struck), "stays": dict(seen.stays)})
            return
        click.echo("struck wherever it stands:")
        for word in seen.struck:
            click.echo(f"  {word}")
        click.echo("stays:")
        for where, text in seen.stays:
            click.echo(f"  {where}: {text}")
        return
    if output is None:
        raise click.UsageError("-o is wanted, or --preview")
    with opened(archive) as store:
        made = strike(number, store, revision, words)
    written = pipeline.write_files(made.files, output)
    if as_json:
        show_json({"seq": made.seq, "head": made.head, "files": [str(p) for p in written]})
    else:
        for path in written:
            click.echo(f"wrote {path}")


@click.command()
@ARCHIVE
def rebuild(archive: Path) -> None:
    """Make the index again from the log and the files.

    \b
    Examples:
      loambrief archive rebuild --archive records
    """
    with opened(archive) as store:
        store.rebuild()
        seq, _ = store.head
    click.echo(f"made the index again from {seq} lines")
