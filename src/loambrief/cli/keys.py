"""`loambrief keys`: a key to try signing with, and what a certificate says."""

import datetime as dt
import sys
from pathlib import Path

import click

from loambrief.cli.shared import PATH
from loambrief.cli.terminal import Listed


def asker():
    """How to ask for a secret: hidden, on a terminal; None where there is none."""
    if not sys.stdin.isatty():
        return None
    return lambda prompt: click.prompt(prompt, hide_input=True, err=True)


@click.group(cls=Listed)
def keys() -> None:
    """Make a key for trial, or show a certificate.

    \b
    Examples:
      loambrief keys new --name "Marta Quill" -o me.p12
      loambrief keys show me.pem
    """


@keys.command()
@click.option("--name", required=True, help="Your name, as it will stand on the page.")
@click.option("-o", "--output", type=PATH, required=True,
              help="File of the key (.p12); the certificate goes beside it (.pem).")
@click.option("--email", default="", help="Put into the certificate.")
@click.option("--days", type=click.IntRange(1, 3650), default=730, show_default=True,
              help="How long the certificate is valid.")
@click.option("--passphrase-env", metavar="NAME",
              help="Environment variable that holds the passphrase; else it is asked for.")
def new(name: str, output: Path, email: str, days: int, passphrase_env: str | None) -> None:
    """Make a key and a certificate that it signed itself, for trial.

    Anyone can make such a certificate in any name. It shows that a file was not changed, not
    who signed it. Signatures made with it say so.

    \b
    Examples:
      loambrief keys new --name "Marta Quill" -o me.p12
      PASS=... loambrief keys new --name "Marta Quill" -o me.p12 --passphrase-env PASS
    """
    from loambrief.archive.errors import KeyFault
    from loambrief.archive.keys import SecretPlace, make_trial_key, write_new

    certificate = output.with_suffix(".pem")
    if certificate == output:
        raise click.UsageError("the key's file cannot end in .pem; .p12 is usual")
    for path in (output, certificate):
        if path.exists():
            raise KeyFault(f"{path} exists; a key is never overwritten")
    ask = asker()
    secret = SecretPlace(env=passphrase_env or "").find(ask, "Passphrase for the new key")
    if not passphrase_env and ask is not None and ask("The same again") != secret:
        raise KeyFault("the two passphrases differ; nothing was made")
    packed, pem = make_trial_key(name, secret, now=dt.datetime.now(dt.UTC), days=days,
                                 email=email)
    output.parent.mkdir(parents=True, exist_ok=True)
    write_new(output, packed, 0o600)
    write_new(certificate, pem, 0o644)
    click.echo(f"wrote {output} (keep it to yourself) and {certificate} (give it to whoever "
               "checks your signatures)")
    _show(certificate)


@keys.command()
@click.argument("file", type=PATH)
def show(file: Path) -> None:
    """Show the certificates of a file (PEM or DER): holder, issuer, validity, fingerprint.

    \b
    Example:
      loambrief keys show me.pem
    """
    _show(file)


def _show(path: Path) -> None:
    from loambrief.archive.keys import is_trial, load_certificates

    for certificate in load_certificates(path):
        click.echo(f"holder:      {certificate.subject.human_friendly}")
        click.echo(f"issuer:      {certificate.issuer.human_friendly}")
        click.echo(f"valid:       {certificate.not_valid_before:%Y-%m-%d} to "
                   f"{certificate.not_valid_after:%Y-%m-%d}")
        digits = certificate.sha256.hex().upper()
        click.echo("fingerprint: " + ":".join(digits[i:i + 2] for i in range(0, 64, 2)))
        if is_trial(certificate):
            click.echo("for trial:   whoever made it chose the name; identity not checked")
