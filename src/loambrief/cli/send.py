"""`loambrief send`: deliver the letters of a batch."""

import sys
from pathlib import Path

import click

from loambrief.cli.shared import FOLDER, PATH, show_json


@click.command()
@click.argument("folder", type=FOLDER)
@click.option("--settings", "settings_file", type=PATH,
              help="TOML file with a [mail] table; else that of your settings.")
@click.option("--really", is_flag=True, help="Send. Without it, only say what would be sent.")
@click.option("--again", is_flag=True,
              help="Also send letters whose delivery is unclear after a broken run.")
@click.option("--json", "as_json", is_flag=True, help="Print what became of each letter as JSON.")
def send(folder: Path, settings_file: Path | None, really: bool, again: bool,
         as_json: bool) -> None:
    """Deliver the letters that a batch wrote (FOLDER and below), each only once.

    Nothing leaves the machine without --really. The password comes from an environment
    variable or the keyring that the settings name, never from an argument. What was sent when
    is kept in FOLDER/sent.jsonl.

    \b
    Examples:
      loambrief send output/2026-10
      loambrief send output/2026-10 --settings mail.toml --really
    """
    import datetime as dt
    from email.utils import format_datetime

    from loambrief.batch.lock import folder_lock
    from loambrief.mail.send import send_letters, tally
    from loambrief.mail.settings import load_mail_settings, password

    settings = secret = None
    if settings_file is not None:
        settings = load_mail_settings(settings_file)
    if really:
        if settings is None:
            raise click.UsageError("--really needs --settings FILE, or a [mail] table in your "
                                   "settings")
        secret = password(settings)

    def now() -> dt.datetime:
        return dt.datetime.now(dt.UTC).astimezone()

    with folder_lock(folder):
        sendings = send_letters(
            folder, settings if really else None, secret=secret, again=again,
            now=lambda: now().isoformat(timespec="seconds"), date=lambda: format_datetime(now()))
    if as_json:
        show_json([{"file": str(s.file), "to": s.to, "outcome": s.outcome,
                    "detail": s.detail} for s in sendings])
    else:
        for one in sendings:
            detail = f" ({one.detail})" if one.detail else ""
            click.echo(f"{one.outcome}: {one.file} to {one.to}{detail}")
        click.echo(tally(sendings))
    sys.exit(1 if any(s.outcome in ("failed", "unclear") for s in sendings) else 0)
