"""`loambrief verify`: separate facts about a signed advisory, and one bottom line."""

import datetime as dt
import sys
from pathlib import Path

import click

from loambrief.cli.shared import PATH, show_json

MARKS = {"good": "ok ", "bad": "BAD", "not known": " ? ", "not applicable": " - "}


@click.command()
@click.argument("files", nargs=-1, required=True, type=PATH, metavar="FILE...")
@click.option("--trust", "anchors", multiple=True, metavar="ROLE=CERT",
              help="Certificate (PEM or DER) that may vouch for the adviser, the client or a "
                   "clock: adviser=FILE, client=FILE, time=FILE; may be repeated.")
@click.option("--archive", type=PATH, metavar="DIR", envvar="LOAMBRIEF_ARCHIVE", show_envvar=True,
              help="Archive whose log should know the file.")
@click.option("--no-render", is_flag=True, help="Do not render the attached case again.")
@click.option("--json", "as_json", is_flag=True, help="Print every fact as JSON.")
@click.option("-q", "--quiet", is_flag=True,
              help="Print only the bottom line of each file that is not good.")
def verify(files: tuple[Path, ...], anchors: tuple[str, ...], archive: Path | None,
           no_render: bool, as_json: bool, quiet: bool) -> None:
    """Check signed advisories: the bytes, the signatures, the signer, the case, the record.

    The technical annex is looked for beside the advisory, under the name that the advisory
    gives; that it is missing or altered is said.

    Each fact is good, bad, not known or not applicable. A file is good if nothing is bad and
    what must be known is known; so trust the signer's certificate, or that of who issued it, for
    the role it has. A trusted certificate in another name than the document's adviser or client
    is not good all the same. Exit code 1 if a file is not good.

    \b
    Examples:
      loambrief verify signed.pdf --trust adviser=me.pem
      loambrief verify signed.pdf MQ-2026-0001-r1.annex.pdf --trust adviser=me.pem
      loambrief verify signed.pdf --trust adviser=me.pem --archive records --json
    """
    from contextlib import ExitStack
    from functools import partial

    from loambrief.archive.facts import TRUST
    from loambrief.archive.keys import load_certificates
    from loambrief.archive.pdf_parts import LARGEST_FILE
    from loambrief.archive.store import Store
    from loambrief.record.verify import TrustedRecord, annexes
    from loambrief.record.verify import verify as check

    def read(path: Path) -> bytes:
        with path.open("rb") as stream:
            return stream.read(LARGEST_FILE + 1)

    def beside(path: Path, name: str) -> bytes | None:
        """A file of that name among those given, or in the folder of the one it belongs to."""
        for found in (*(f for f in files if f.name == name), path.parent / name):
            if found.is_file():
                return read(found)
        return None

    trusted: dict[str, list[bytes]] = {}
    for item in anchors:
        role, sign, certificate = item.partition("=")
        if not sign or role not in TRUST:
            raise click.UsageError(f"--trust {item!r}: say for whom, one of "
                                   + ", ".join(f"{name}=CERT" for name in TRUST))
        trusted.setdefault(role, []).extend(
            c.dump() for c in load_certificates(Path(certificate)))
    verdicts = []
    with ExitStack() as open_ones:
        record = None
        if archive is not None:
            record = TrustedRecord(open_ones.enter_context(Store.open(archive)))
        for path in files:
            verdicts.append(check(read(path), str(path), now=dt.datetime.now(dt.UTC),
                                  anchors=trusted, record=record, again=not no_render,
                                  beside=partial(beside, path)))
    verdicts = annexes(verdicts)
    if as_json:
        show_json([v.as_json() for v in verdicts])
    else:
        for verdict in verdicts:
            _print(verdict, quiet)
    sys.exit(0 if all(v.good for v in verdicts) else 1)


def _print(verdict, quiet: bool) -> None:
    """Facts of the file, then of each signature, then the bottom line."""
    if not (quiet and verdict.good):
        click.echo(f"{verdict.name}: {verdict.sentence}")
    if quiet:
        return
    found = verdict.inspection
    for fact in found.facts:
        if not fact.about:
            click.echo(f"  {MARKS[fact.state.value]} {fact.text}")
    for signature in found.signatures:
        trial = ", for trial" if signature.trial else ""
        click.echo(f"  {signature.field}: {signature.signer}{trial}; {signature.level}; "
                   f"says {signature.claimed_time}")
        for fact in found.facts:
            if fact.about == signature.field:
                click.echo(f"    {MARKS[fact.state.value]} {fact.text}")
