"""What `sign` and `issue` share: options of the key, and the opened key itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loambrief.cli.keys import asker
from loambrief.cli.shared import PATH

if TYPE_CHECKING:
    from loambrief.archive.sign import Signer
    from loambrief.archive.sign_settings import SignSettings

OPTIONS = (
    click.option("--key", type=PATH, help="Key to sign with (PKCS#12, .p12 or .pfx)."),
    click.option("--settings", "settings_file", type=PATH,
                 help="Settings file with a [signing] table: key or token, level, timestamps."),
    click.option("--level", type=click.Choice(["B-B", "B-T", "B-LT", "B-LTA"]),
                 help="PAdES level to reach; that of the settings, else B-B."),
    click.option("--passphrase-env", metavar="NAME",
                 help="Environment variable that holds the passphrase; else it is asked for."),
    click.option("--name-differs", metavar="REASON", default="",
                 help="Sign although the certificate is in another name than the document; the "
                      "reason stands in the signature."),
)


def key_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Put the options of a key before a command's others."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


def key_settings(key: Path | None, settings_file: Path | None, level: str | None,
                 passphrase_env: str | None) -> SignSettings:
    """How to sign; what is given on the command line goes before the settings file."""
    from loambrief.archive.sign_settings import SignSettings, load_sign_settings

    settings = load_sign_settings(settings_file) if settings_file else SignSettings()
    if key is not None:
        settings = replace(settings, key=key, token=None)
    if level is not None:
        settings = replace(settings, level=level)
    if passphrase_env:
        settings = replace(settings, secret=replace(settings.secret, env=passphrase_env))
    if settings.key is None and settings.token is None:
        raise click.UsageError("no key: give --key, or --settings with a key or token")
    return settings


def opened_signer(settings: SignSettings) -> Signer:
    """The key, opened; the passphrase is asked for where no place is named."""
    from loambrief.archive.keys import open_p12, open_token, readable_by_others
    from loambrief.archive.sign import open_signer

    secret = settings.secret.find(asker(), f"Passphrase of {settings.key or 'the token'}")
    if settings.key is not None:
        if readable_by_others(settings.key):
            click.echo(f"loambrief: warning: others on this machine can read {settings.key} "
                       "(chmod 600)", err=True)
        opened = open_p12(settings.key, secret, settings.chain)
    else:
        assert settings.token is not None
        opened = open_token(settings.token, secret, settings.chain)
    return open_signer(settings, opened)
