"""What a case comes to now: its problems, and the last advisory that it gave."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from loambrief import pipeline
from loambrief.case.load import LoadedCase, load_bytes
from loambrief.case.problems import Problem
from loambrief.case.reader import decode, read_bytes, read_text
from loambrief.case.source import SourceText
from loambrief.errors import CaseProblems, LoambriefError
from loambrief.render.html import render_html


@dataclass(frozen=True)
class View:
    """One state of a case."""

    version: int
    """Counted from 1; another one whenever the files were read again."""
    sha256: str = ""
    """Of the case file; empty if it could not be read."""
    source: SourceText | None = None
    """Its data with their places, where it can be read at all."""
    problems: tuple[Problem, ...] = ()
    """Errors, or else warnings."""
    fault: str = ""
    """What went wrong beside the case: no such file, an error of the program."""
    html: bytes = b""
    """The last advisory; empty before the first."""
    current: bool = False
    """Whether the advisory is that of this version."""
    case_id: str = ""
    """Of that advisory."""

    @property
    def errors(self) -> tuple[Problem, ...]:
        return tuple(p for p in self.problems if p.severity == "error")


class Live:
    """A case that is read again when its files change; units and language in place of its own."""

    def __init__(self, path: Path, units: str | None = None, language: str | None = None) -> None:
        self.path, self.units, self.language = path, units, language
        self._lock = Lock()
        self._advice: pipeline.Advice | None = None
        self._files: Mapping[str, bytes] = {}
        self.view = View(0)
        self.refresh()

    def refresh(self) -> View:
        """Read the case and make its advisory; what is wrong with it becomes part of the view."""
        with self._lock:
            self.view = self._made(self.view)
            return self.view

    def _made(self, old: View) -> View:
        version, kept = old.version + 1, (old.html, False, old.case_id)
        try:
            raw = read_bytes(self.path)
        except CaseProblems as error:
            return View(version, "", None, error.problems, "", *kept)
        except OSError as error:
            return View(version, "", None, (), error.strerror or str(error), *kept)
        sha256, source = hashlib.sha256(raw).hexdigest(), None
        problems: tuple[Problem, ...] = ()
        fault = ""
        try:
            source = read_text(decode(raw, self.name), self.name)[0]
            advice = pipeline.advise(self.loaded(raw))
            html = render_html(pipeline.report_model(advice))
            self._advice, self._files = advice, {}
            loaded = advice.loaded
            return View(version, sha256, source, loaded.warnings, "", html, True,
                        loaded.case.case.id)
        except CaseProblems as error:
            problems = error.problems
        except LoambriefError as error:
            fault = str(error)
        except Exception as error:  # shown on the page, so that the next save may mend it
            fault = f"an error of the program ({type(error).__name__}: {error})"
        return View(version, sha256, source, problems, fault, *kept)

    @property
    def name(self) -> str:
        """The case file as problems name it."""
        return self.path.name

    def loaded(self, raw: bytes) -> LoadedCase:
        """A text in place of the case file's; CaseProblems has every problem."""
        return load_bytes(raw, self.name, folder=self.path.parent, units=self.units,
                          language=self.language)

    def files(self) -> Mapping[str, bytes]:
        """The advisory's files by name, made when first asked for; none before the first."""
        with self._lock:
            if not self._files and self._advice is not None:
                self._files = pipeline.render(self._advice).files()
            return self._files

    def folders(self) -> tuple[Path, ...]:
        """Folders whose files the case is made of."""
        home = self.path.resolve().parent
        found = [home]
        if self._advice is not None:
            found += [(home / file.name).resolve().parent for file in self._advice.loaded.files]
        return tuple(dict.fromkeys(folder for folder in found if folder.is_dir()))
