"""How letters are sent: the ``[mail]`` table of a TOML settings file. No secrets in it.

::

    [mail]
    host = "smtp.example.org"
    port = 587                     # 465 with security = "tls"
    security = "starttls"          # "starttls", "tls", or "none" (this machine only)
    user = "advice@example.org"
    password_env = "MAIL_PASSWORD"        # name of an environment variable, or
    password_keyring = "loambrief-mail"   # name of a service in the system's keyring
    copy_to = "office@example.org"        # a blind copy of each letter
    ca_file = "company-ca.pem"            # only for a server with a certificate of your own
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

from loambrief.errors import LoambriefError
from loambrief.resources import settings_table
from loambrief.settings import located, secret

SECURITY = ("starttls", "tls", "none")
PORTS = {"starttls": 587, "tls": 465, "none": 25}


class SettingsFault(LoambriefError):
    """The settings file has problems; all of them are in the text."""


@dataclass(frozen=True)
class MailSettings:
    """Where and how letters are handed over."""

    host: str
    port: int
    security: str = "starttls"
    user: str | None = None
    password_env: str | None = None
    password_keyring: str | None = None
    copy_to: str | None = None
    ca_file: Path | None = None
    timeout_s: float = 30.0
    attempts: int = 3
    pause_s: float = 5.0


TYPES: Mapping[str, tuple[type, ...]] = {
    "host": (str,), "port": (int,), "security": (str,), "user": (str,), "password_env": (str,),
    "password_keyring": (str,), "copy_to": (str,), "ca_file": (str,), "timeout_s": (int, float),
    "attempts": (int,), "pause_s": (int, float),
}


def load_mail_settings(path: Path) -> MailSettings:
    """Read the ``[mail]`` table.

    Raises
    ------
    SettingsFault
        Not TOML, no such table, unknown or wrong values: all at once.
    """
    table = settings_table(path, "mail", SettingsFault)
    faults = _faults(table)
    if faults:
        raise SettingsFault(located(path, "mail", faults))
    security = table.get("security", "starttls")
    ca_file = table.get("ca_file")
    return MailSettings(
        **{k: v for k, v in table.items() if k not in ("port", "security", "ca_file")},
        port=table.get("port", PORTS[security]), security=security,
        ca_file=path.parent / ca_file if ca_file else None,
    )


def _faults(table: Mapping[str, object]) -> list[str]:
    faults = []
    for key, value in table.items():
        wanted = TYPES.get(key)
        if wanted is None:
            faults.append(f"{key}: unknown; known: {', '.join(TYPES)}")
        elif not isinstance(value, wanted) or isinstance(value, bool):
            faults.append(f"{key}: found {value!r}, wanted "
                          f"{'text' if str in wanted else 'a number'}")
        elif isinstance(value, int | float) and value <= 0:
            faults.append(f"{key}: found {value!r}, wanted a number above 0")
    if not table.get("host"):
        faults.append("host: missing, wanted the name of the mail server")
    security = table.get("security", "starttls")
    if security not in SECURITY:
        faults.append(f"security: found {security!r}, wanted one of {', '.join(SECURITY)}")
    elif security == "none" and not is_loopback(str(table.get("host", ""))):
        faults.append("security: \"none\" is only for a server on this machine; "
                      "wanted starttls or tls")
    if "password_env" in table and "password_keyring" in table:
        faults.append("password_env and password_keyring: give one of the two")
    if ("password_env" in table or "password_keyring" in table) and "user" not in table:
        faults.append("user: missing, wanted beside a password")
    if security == "none" and "user" in table:
        faults.append("user: a password would cross the line in the clear; wanted starttls or tls")
    return faults


def is_loopback(host: str) -> bool:
    """Whether a host is this machine."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def password(settings: MailSettings, environ: Mapping[str, str] = os.environ) -> str | None:
    """The password, from where the settings say; None if there is no user.

    Raises
    ------
    SettingsFault
        It is not there. The text never holds it.
    """
    if settings.user is None:
        return None
    found = secret(settings.password_env or "", settings.password_keyring or "", settings.user,
                   "password_keyring", SettingsFault, environ)
    if found is not None:
        return found
    raise SettingsFault("mail.user is set without password_env or password_keyring")
