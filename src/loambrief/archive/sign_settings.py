"""How files are signed: the ``[signing]`` table of a TOML settings file. No secrets in it.

::

    [signing]
    key = "adviser.p12"                     # PKCS#12; or the table [signing.token]
    passphrase_env = "SIGNING_PASSPHRASE"   # name of an environment variable, or
    passphrase_keyring = "loambrief-sign"   # name of a service in the system's keyring
    level = "B-LT"                          # B-B, B-T, B-LT or B-LTA
    timestamp_url = "http://timestamp.example.org"
    chain = ["issuer.pem"]                  # certificates above the signer's
    trust = ["root.pem"]                    # anchors of the signer and of the timestamps
    crls = ["issuer.crl"]                   # revocation lists (RFC 5280), DER or PEM
    ocsps = ["signer.ocsp"]                 # OCSP answers (RFC 6960), DER
    fetch = false                           # true: ask the certificates' own addresses for them

    [signing.token]                         # a key on a PKCS#11 token
    module = "/usr/lib/opensc-pkcs11.so"
    token = "My card"
    certificate = "Signature"

Files are relative to the settings file.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loambrief.archive.errors import KeyFault
from loambrief.archive.keys import SecretPlace, Token
from loambrief.resources import settings_table
from loambrief.settings import located

LEVELS = ("B-B", "B-T", "B-LT", "B-LTA")
"""PAdES baseline levels, each of which includes the one before (ETSI EN 319 142-1, clause 6)."""
TEXTS = ("key", "passphrase_env", "passphrase_keyring", "level", "timestamp_url")
LISTS = ("chain", "trust", "crls", "ocsps")
TOKEN = ("module", "token", "certificate", "key")


@dataclass(frozen=True)
class SignSettings:
    """What is known about signing before a file is signed."""

    level: str = "B-B"
    """One of :data:`LEVELS`."""
    key: Path | None = None
    token: Token | None = None
    secret: SecretPlace = field(default_factory=SecretPlace)
    timestamp_url: str = ""
    chain: tuple[Path, ...] = ()
    trust: tuple[Path, ...] = ()
    crls: tuple[Path, ...] = ()
    ocsps: tuple[Path, ...] = ()
    fetch: bool = False
    """Ask the addresses in the certificates for revocation data."""


def load_sign_settings(path: Path) -> SignSettings:
    """Read the ``[signing]`` table.

    Raises
    ------
    KeyFault
        Not TOML, no such table, unknown or wrong values: all at once.
    """
    table = settings_table(path, "signing", KeyFault)
    faults = _faults(table)
    if faults:
        raise KeyFault(located(path, "signing", faults))
    home = path.parent
    token = table.get("token")
    keyring = table.get("passphrase_keyring", "")
    return SignSettings(
        level=table.get("level", "B-B"),
        key=home / table["key"] if "key" in table else None,
        token=None if token is None else Token(
            home / token["module"], token["token"], token["certificate"], token.get("key", "")),
        secret=SecretPlace(table.get("passphrase_env", ""), keyring,
                           "signing" if keyring else ""),
        timestamp_url=table.get("timestamp_url", ""),
        fetch=table.get("fetch", False),
        **{name: tuple(home / item for item in table.get(name, ())) for name in LISTS},
    )


def _faults(table: Mapping[str, object]) -> list[str]:
    faults = []
    for key, value in table.items():
        if key in TEXTS:
            if not isinstance(value, str) or not value:
                faults.append(f"{key}: found {value!r}, wanted text")
        elif key in LISTS:
            if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
                faults.append(f"{key}: found {value!r}, wanted a list of file names")
        elif key == "fetch":
            if not isinstance(value, bool):
                faults.append(f"fetch: found {value!r}, wanted true or false")
        elif key == "token":
            faults += _token_faults(value)
        elif "pass" in key or "pin" in key:
            faults.append(f"{key}: no secrets in this file; name a place with passphrase_env or "
                          "passphrase_keyring")
        else:
            known = ", ".join((*TEXTS, *LISTS, "fetch", "token"))
            faults.append(f"{key}: unknown; known: {known}")
    level = table.get("level", "B-B")
    if isinstance(level, str) and level not in LEVELS:
        faults.append(f"level: found {level!r}, wanted one of {', '.join(LEVELS)}")
    elif level != "B-B" and not table.get("timestamp_url"):
        faults.append(f"timestamp_url: missing, wanted for level {level}")
    if "key" in table and "token" in table:
        faults.append("key and token: give one of the two")
    if "passphrase_env" in table and "passphrase_keyring" in table:
        faults.append("passphrase_env and passphrase_keyring: give one of the two")
    return faults


def _token_faults(value: object) -> list[str]:
    if not isinstance(value, dict):
        return [f"token: found {value!r}, wanted a table"]
    faults = [f"token.{k}: unknown; known: {', '.join(TOKEN)}" for k in value if k not in TOKEN]
    faults += [f"token.{k}: missing" for k in TOKEN[:3] if k not in value]
    faults += [f"token.{k}: found {v!r}, wanted text" for k, v in value.items()
               if not isinstance(v, str) or not v]
    return faults
