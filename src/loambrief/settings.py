"""Settings in TOML: the user's own, and a project's; one name for an option everywhere.

::

    adviser = "adviser.yaml"      # profile that 'new' puts into a case
    units = "us"                  # us or si: of new cases and field sheets
    paper = "letter"              # letter or a4
    language = "en"               # en, es, es-US, es-MX, es-ES
    output = "output"             # folder for what is made
    archive = "records"           # folder of the archive
    templates = "wording"         # folder of your own wording
    prices = "prices.yaml"        # price list that new cases share
    [fees]                        # see loambrief.batch.invoice
    [mail]                        # see loambrief.mail.settings
    [signing]                     # see loambrief.archive.sign_settings

The user's file is ``loambrief/settings.toml`` in the XDG configuration folder, or the one that
LOAMBRIEF_SETTINGS names; a project's is ``loambrief.toml`` in the working folder or the nearest
one above. A value is taken from the command line (``--archive``), else from the environment
(``LOAMBRIEF_ARCHIVE``), else from the project, else from the user. Files are relative to the
settings file. How a case is printed the case says itself, so that draft and issued document
agree: units, paper and language are for what is begun anew.

A project folder may come from somebody else, so it cannot say where letters and their password
go, nor name a driver to be loaded: ``[mail]`` and ``[signing.token]`` are the user's alone.
"""

import os
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from loambrief.errors import LoambriefError
from loambrief.resources import LARGEST_SETTINGS

USER, PROJECT = "settings.toml", "loambrief.toml"
NAMED = "LOAMBRIEF_SETTINGS"
CHOICES = {"units": ("us", "si"), "paper": ("letter", "a4"),
           "language": ("en", "es", "es-US", "es-MX", "es-ES")}
PATHS = ("adviser", "output", "archive", "templates", "prices")
TABLES = ("mail", "signing", "fees")
KEYS = (*PATHS, *CHOICES)
NOT_IN_PROJECT = {"mail": "mail", "signing.token": "token"}
_HEADER = re.compile(r"\s*\[\s*([\w.\"' -]+?)\s*\]")


class SettingsProblem(LoambriefError):
    """A settings file has problems; all of them are in the text, with file and line."""


@dataclass(frozen=True)
class SetValue:
    """One value in force."""

    name: str
    value: str
    origin: str
    """``environment``, ``project`` or ``user``."""
    where: str
    """Name of the variable, or file and line."""


@dataclass(frozen=True)
class InForce:
    """What is in force before a command line is read."""

    values: Mapping[str, SetValue] = field(default_factory=dict)
    """Only what is set somewhere; paths are made out from the settings file's folder."""
    files: Mapping[str, Path] = field(default_factory=dict)
    """File that has the table ``mail`` or ``signing``; the project's before the user's."""
    problems: tuple[str, ...] = ()
    read: tuple[tuple[str, Path], ...] = ()
    """Files that were read: whose, and where."""

    def value(self, name: str) -> str | None:
        found = self.values.get(name)
        return None if found is None else found.value


def variable(name: str) -> str:
    """Environment variable of an option."""
    return f"LOAMBRIEF_{name.upper()}"


def user_file(environ: Mapping[str, str] = os.environ) -> Path:
    """Where the user's settings are, there or not."""
    if environ.get(NAMED):
        return Path(environ[NAMED])
    base = environ.get("XDG_CONFIG_HOME", "")
    home = Path(base) if base and Path(base).is_absolute() else Path.home() / ".config"
    return home / "loambrief" / USER


def project_file(here: Path) -> Path | None:
    """The nearest project file at or above a folder, or None."""
    for folder in (here, *here.parents):
        if (folder / PROJECT).is_file():
            return folder / PROJECT
    return None


def in_force(environ: Mapping[str, str] = os.environ, here: Path | None = None) -> InForce:
    """Settings of environment, project and user, and every problem with them.

    ``here`` is the working folder, the process's if None.
    """
    values: dict[str, SetValue] = {}
    files: dict[str, Path] = {}
    problems: list[str] = []
    read: list[tuple[str, Path]] = []
    places: list[tuple[str, Path]] = [("user", user_file(environ))]
    project = project_file((here or Path.cwd()).absolute())
    if project is not None:
        places.append(("project", project))
    for origin, path in places:
        try:
            with path.open("rb") as stream:
                raw = stream.read(LARGEST_SETTINGS + 1)
        except FileNotFoundError:
            if environ.get(NAMED) and origin == "user":
                problems.append(f"{path}: {NAMED} names it, and it is not there")
            continue
        except OSError as error:
            problems.append(f"{path}: {error.strerror or error}")
            continue
        read.append((origin, path))
        found = list(_read(raw, path, origin))
        problems += [one for one in found if isinstance(one, str)]
        values.update({one.name: one for one in found if isinstance(one, SetValue)})
        files.update({one: path for one, in (o for o in found if isinstance(o, tuple))})
    for name in KEYS:
        given = environ.get(variable(name))
        if given:
            if name in CHOICES and given not in CHOICES[name]:
                problems.append(f"{variable(name)}: found {given!r}, wanted one of "
                                + ", ".join(CHOICES[name]))
            values[name] = SetValue(name, given, "environment", variable(name))
    return InForce(values, files, tuple(problems), tuple(read))


def _read(raw: bytes, path: Path, origin: str) -> Iterator[SetValue | str | tuple[str]]:
    """Values, problems, and in tuples the names of tables of one file."""
    if len(raw) > LARGEST_SETTINGS:
        yield f"{path}: larger than {LARGEST_SETTINGS} bytes"
        return
    try:
        text = raw.decode("utf-8")
        data = tomllib.loads(text)
    except UnicodeDecodeError:
        yield f"{path}: not UTF-8"
        return
    except tomllib.TOMLDecodeError as error:
        told = re.search(r"line (\d+), column (\d+)", str(error))
        yield f"{path}:{f'{told[1]}:{told[2]}' if told else '1'}: not TOML: {error}"
        return
    for key, value in data.items():
        at = f"{path}:{line_of(text, key)}"
        if key in TABLES:
            barred = [name for name in NOT_IN_PROJECT if name == key
                      or (isinstance(value, dict) and name == f"{key}.token" and "token" in value)]
            if origin == "project" and barred:
                yield (f"{at}: {barred[0]}: only in your own settings ({user_file()}), since a "
                       "project may come from somebody else")
            elif not isinstance(value, dict):
                yield f"{at}: {key}: found {value!r}, wanted the table [{key}]"
            else:
                yield (key,)
        elif key not in KEYS:
            known = ", ".join((*KEYS, *TABLES))
            yield f"{at}: {key}: unknown; known: {known}"
        elif not isinstance(value, str) or not value.strip():
            yield f"{at}: {key}: found {value!r}, wanted text"
        elif key in CHOICES and value not in CHOICES[key]:
            yield f"{at}: {key}: found {value!r}, wanted one of {', '.join(CHOICES[key])}"
        else:
            shown = str(path.parent / Path(value).expanduser()) if key in PATHS else value
            yield SetValue(key, shown, origin, at)


def line_of(text: str, key: str) -> int:
    """Line on which a key or table of a TOML text begins; 1 if it is not found.

    ``key`` is such as ``units``, ``mail``, ``signing.token``, ``mail.host``.
    """
    table = ""
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header:
            table = header[1]
        name = table if header else ".".join(filter(None, [
            table, line.split("=")[0].strip().strip("\"'")]))
        if name == key or (header and name.startswith(f"{key}.")):
            return number
    return 1


def secret(env: str, keyring: str, user: str, key: str, fault: type[LoambriefError],
           environ: Mapping[str, str]) -> str | None:
    """A secret from an environment variable, or from ``user``'s entry of a service ``keyring``.

    None if neither is named ("" each); ``fault``, which never holds the secret, if it is not
    there. ``key`` is the key of the settings that names the keyring.
    """
    if env:
        if not (found := environ.get(env)):
            raise fault(f"the environment variable {env} is not set")
        return found
    if not keyring:
        return None
    try:
        from keyring import get_password
    except ImportError:
        raise fault(f"{key} needs the package keyring: pip install 'loambrief[keyring]'") from None
    if not (found := get_password(keyring, user)):
        raise fault(f"the keyring has no entry {user!r} of service {keyring!r}")
    return found


def located(path: Path, table: str, faults: Iterable[str]) -> str:
    """Faults of one table, each beginning with its key, with file and line."""
    text = path.read_text(encoding="utf-8")
    lines = []
    for fault in faults:
        key = fault.split(":")[0].split(" ")[0]
        at = line_of(text, f"{table}.{key}")
        lines.append(f"{path}:{at if at > 1 else line_of(text, table)}: {table}.{fault}")
    return "\n".join(lines)
