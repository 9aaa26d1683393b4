"""Is this installation whole? Each check is one fact with what it found."""

import platform
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from importlib import metadata
from pathlib import Path

from loambrief import __version__
from loambrief.errors import LoambriefError
from loambrief.resources import templates_dir
from loambrief.settings import KEYS, PROJECT, TABLES, in_force, user_file

OLDEST_PYTHON = (3, 11)
SIGNS = "áéíñóúü¿¡µ°²³₂₅≥≤±×–—’“”½€$"
"""Signs an advisory prints beside plain Latin letters."""


@dataclass(frozen=True)
class Checked:
    """One check."""

    name: str
    good: bool | None
    """None: only to be known (an optional part that is not installed)."""
    found: str
    help: str = ""
    """What to do about it."""


def examine(*, answers: bool = True) -> Iterator[Checked]:
    """Every check, one after the other; one that fails unforeseen is a bad fact, no exception.

    ``answers``: also reproduce the answers kept beside the formulas (about two seconds).
    """
    yield Checked("loambrief", True, f"{__version__}, {Path(__file__).parent}")
    checks: list[tuple[str, Callable[[], Checked]]] = [
        ("python", _python), ("libraries", _libraries), ("optional parts", _extras),
        ("wording", _wording), ("typeface", _typeface), ("tables", _tables), ("page", _page),
        ("temporary files", _temporary),
    ]
    checks += [(f"settings {name}", partial(_setting, name)) for name in ("files", *KEYS, *TABLES)]
    if answers:
        checks.append(("kept answers", _answers))
    for name, check in checks:
        try:
            yield check()
        except (LoambriefError, OSError, ValueError, KeyError, ImportError) as error:
            yield Checked(name, False, f"{type(error).__name__}: {error}",
                       "Install Loambrief again: pip install --force-reinstall loambrief")


def _python() -> Checked:
    found = f"{platform.python_version()} on {platform.system() or 'an unknown system'}"
    good = sys.version_info[:2] >= OLDEST_PYTHON
    return Checked("python", good, found, "" if good else "Python 3.11 or newer is needed.")


def _wanted() -> Iterator[tuple[str, str, str | None, bool]]:
    """(name, condition, installed version or None, whether it fits) of each requirement."""
    from packaging.requirements import Requirement

    for text in metadata.requires("loambrief") or ():
        need = Requirement(text)
        extra = str(need.marker) if need.marker else ""
        try:
            version = metadata.version(need.name)
        except metadata.PackageNotFoundError:
            version = None
        yield need.name, extra, version, version is not None and need.specifier.contains(
            version, prereleases=True)


def _libraries() -> Checked:
    needed = [(name, version, fits) for name, extra, version, fits in _wanted()
              if "extra" not in extra]
    wrong = [f"{name} {version or 'missing'}" for name, version, fits in needed if not fits]
    if wrong:
        return Checked("libraries", False, ", ".join(wrong), "pip install --upgrade loambrief")
    return Checked("libraries", True, f"{len(needed)} there, none too old")


def _extras() -> Checked:
    absent = sorted({name for name, extra, version, fits in _wanted()
                     if "extra" in extra and '"dev"' not in extra and "'dev'" not in extra
                     and not fits})
    if absent:
        return Checked("optional parts", None, f"not installed: {', '.join(absent)}",
                    "Only needed for clusters, key tokens or the keyring.")
    return Checked("optional parts", True, "all installed")


def _wording() -> Checked:
    from loambrief.report.own_words import shipped_macros

    counts = {folder.name: len(list(folder.glob("*.j2")))
              for folder in sorted((templates_dir() / "text").iterdir())}
    messages = sum(len(names) for names in shipped_macros().values())
    even = len(set(counts.values())) == 1
    return Checked("wording", even, f"{messages} messages; files: " + ", ".join(
        f"{language} {count}" for language, count in counts.items()),
        "" if even else "A language lacks files; install Loambrief again.")


def _typeface() -> Checked:
    from loambrief.charts.fonts import FAMILY, FILES, covered

    lacking = [sign for sign in SIGNS if ord(sign) not in covered()]
    return Checked("typeface", not lacking, f"{FAMILY}, {len(FILES)} faces, {len(covered())} signs",
                f"It lacks {' '.join(lacking)}" if lacking else "")


def _tables() -> Checked:
    from loambrief.tables import all_documents, all_tables, load, load_document, references

    wrong = []
    for name in all_tables():
        table = load(name)
        for column, about in table.source.columns.items():
            total = about.get("sum")
            if total is not None and abs(sum(
                    v for v in table.column(column) if v is not None) - total) > 1e-6:
                wrong.append(f"{name}.{column}")
    for name in all_documents():
        load_document(name)
    count = len(all_tables()) + len(all_documents())
    if wrong:
        return Checked("tables", False, f"changed: {', '.join(wrong)}", "Install Loambrief again.")
    return Checked("tables", True, f"{count} tables, {len(references())} sources")


def _page() -> Checked:
    """One page with every sign, made and checked as PDF/A."""
    import datetime as dt

    from loambrief.render.pdf import render_pdf
    from loambrief.report.blocks import Heading, Paragraph, ReportModel
    from loambrief.report.page_text import page_words
    from loambrief.report.text import Writer

    model = ReportModel(title="Test page", case_id="test-page", date=dt.date(2026, 1, 1),
                        words=page_words(Writer()),
                        blocks=(Heading(1, "Test page"), Paragraph(SIGNS)))
    pdf = render_pdf(model, checked=True)
    return Checked("page", pdf.startswith(b"%PDF-"),
                   f"a page of {len(pdf) // 1000} kB, PDF/A checked")


def _setting(name: str) -> Checked:
    """A setting that is in force, and where it comes from."""
    found = in_force()
    title = f"settings {name}"
    if name == "files":
        if found.problems:
            return Checked(title, False, "; ".join(found.problems), "Put the files right.")
        read = ", ".join(f"{whose} {path}" for whose, path in found.read)
        return Checked(title, True if read else None, read or (
            f"none; yours would be {user_file()}, a project's {PROJECT}"))
    if name in found.files:
        path = found.files[name]
        fault = _table_fault(name, path)
        return Checked(title, not fault, fault or f"[{name}] of {path}",
                       "Put the table right." if fault else "")
    setting = found.values.get(name)
    if setting is None:
        return Checked(title, None, "not set")
    return Checked(title, True, f"{setting.value} ({setting.origin}, {setting.where})")


def _table_fault(name: str, path: Path) -> str:
    from loambrief.archive.sign_settings import load_sign_settings
    from loambrief.batch.invoice import load_fees
    from loambrief.mail.settings import load_mail_settings

    load = {"mail": load_mail_settings, "signing": load_sign_settings, "fees": load_fees}[name]
    try:
        load(path)
    except LoambriefError as error:
        return "; ".join(str(error).splitlines())
    return ""


def _temporary() -> Checked:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "x").write_bytes(b"x")
    return Checked("temporary files", True, tempfile.gettempdir())


def _answers() -> Checked:
    import loambrief.topics.formulas  # noqa: F401
    from loambrief.agronomy.selftest import KINDS, counted, load_checks, run_check

    outcomes = [run_check(check) for check in load_checks()]
    failed = [o for o in outcomes if not o.passed]
    if failed:
        return Checked("kept answers", False,
                       f"{len(failed)} of {len(outcomes)} not reproduced",
                       "loambrief selftest names them.")
    return Checked("kept answers", True, "reproduced: " + ", ".join(
        f"{count['passed']} {KINDS[kind]}" for kind, count in counted(outcomes).items()))
