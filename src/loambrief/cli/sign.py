"""`loambrief sign`: a digital signature in the sign-off block of an issued advisory."""

import datetime as dt
import sys
from pathlib import Path

import click

from loambrief.cli.shared import PATH, show_json
from loambrief.cli.signing import key_options, key_settings, opened_signer


@click.command()
@click.argument("file", type=PATH)
@key_options
@click.option("--as", "role", type=click.Choice(["adviser", "client"]), default="adviser",
              show_default=True, help="The adviser signs first, the client last.")
@click.option("-o", "--output", type=PATH, required=True, help="Signed file; must be new.")
@click.option("--trial", is_flag=True, help="Let a draft be signed; the signature says so.")
@click.option("--json", "as_json", is_flag=True, help="Print the outcome as JSON.")
def sign(file: Path, key: Path | None, role: str, output: Path, settings_file: Path | None,
         level: str | None, passphrase_env: str | None, name_differs: str, trial: bool,
         as_json: bool) -> None:
    """Sign an issued advisory in its sign-off block.

    The signature is PAdES B-B, or higher if a timestamp server and revocation data are in the
    settings. If a level cannot be reached, the file is signed at the highest that can, the
    shortfall is printed, and the exit code is 1. A certificate in another name than the
    document's adviser or client is refused unless --name-differs says why. The passphrase is
    asked for, or read from an environment variable or the system's keyring; it is never an
    argument.

    \b
    Examples:
      loambrief sign MQ-2026-0001-r1.pdf --key me.p12 -o signed.pdf
      loambrief sign signed.pdf --as client --key grower.p12 -o both.pdf
      loambrief sign MQ-2026-0001-r1.pdf --settings signing.toml --level B-LT -o signed.pdf
    """
    from loambrief import pipeline
    from loambrief.archive.errors import SignFault
    from loambrief.archive.keys import write_new
    from loambrief.archive.pdf_parts import LARGEST_FILE
    from loambrief.archive.sign import Role, SignWords, language_of
    from loambrief.archive.sign import sign as sign_file
    from loambrief.archive.verify_apart import inspect_apart

    settings = key_settings(key, settings_file, level, passphrase_env)
    if output.exists():
        raise click.UsageError(f"{output} exists; a signed file is never overwritten")
    with file.open("rb") as stream:
        pdf = stream.read(LARGEST_FILE + 1)
    now = dt.datetime.now(dt.UTC)
    looked = inspect_apart(pdf, now=now, archival=False)  # a hostile file never meets the key
    wrong = [f for f in looked.facts if f.state == "bad" and f.id not in ("signed", "status")]
    if wrong:
        raise SignFault(f"{file} is not signed: {wrong[0].text}")
    signer = opened_signer(settings)
    words = SignWords(**pipeline.sign_words(language_of(pdf)))
    signed = sign_file(pdf, signer, Role(role), now=now, words=words, trial=trial,
                       name_differs=name_differs)
    output.parent.mkdir(parents=True, exist_ok=True)
    write_new(output, signed.content, 0o666)
    if as_json:
        show_json({"file": str(output), "as": role, "level": signed.level,
                   "asked": signed.asked, "shortfalls": list(signed.shortfalls)}, indent=None)
    else:
        click.echo(f"wrote {output}, signed as {role}, PAdES {signed.level}")
    for line in signed.shortfalls:
        click.echo(f"loambrief: {line}", err=True)
    sys.exit(0 if signed.complete else 1)
