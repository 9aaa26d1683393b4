"""The HTML of the live page, from ``templates/preview``; every text is escaped there."""

from collections.abc import Mapping, Sequence
from functools import cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from loambrief.case.problems import Problem, visible
from loambrief.errors import ResourceMissing
from loambrief.preview.form import FormResult, Section, places, sections
from loambrief.preview.live import View
from loambrief.report.compiled import compiled_templates
from loambrief.resources import templates_dir

ASSETS: Mapping[str, str] = {"style.css": "text/css", "script.js": "text/javascript"}


@cache
def _environment() -> Environment:
    folder = templates_dir() / "preview"
    if not folder.is_dir():
        raise ResourceMissing(f"{folder} not found")
    made = Environment(loader=FileSystemLoader(folder), autoescape=True, undefined=StrictUndefined,
                       trim_blocks=True, lstrip_blocks=True, bytecode_cache=compiled_templates())
    made.filters["visible"] = visible
    return made


def asset(name: str) -> bytes:
    """A style sheet or script of the page."""
    return (templates_dir() / "preview" / name).read_bytes()


def page(view: View, name: str, files: Sequence[str]) -> str:
    """The page: problems beside the advisory, downloads."""
    return _environment().get_template("page.html.j2").render(view=view, name=name, files=files,
                                                              **_problems(view))


def problems(view: View) -> str:
    """The part of the page that changes: problems and warnings."""
    return _environment().get_template("problems.html.j2").render(view=view, **_problems(view))


def form(view: View, name: str, made: Sequence[Section], filled: FormResult | None = None,
         said: Sequence[str] = ()) -> str:
    """The form of readings and prices; what is wrong with it, or what became of the last one."""
    return _environment().get_template("form.html.j2").render(
        view=view, name=name, sections=made, filled=filled, said=said)


def empty() -> str:
    """What stands in the place of the advisory before there is one."""
    return _environment().get_template("empty.html.j2").render()


def _problems(view: View) -> Mapping[str, object]:
    """Errors, warnings, and the box of the form that each place of the case has."""
    warnings: tuple[Problem, ...] = tuple(p for p in view.problems if p.severity != "error")
    boxes: dict[tuple[str, int, int], str] = {}
    if view.source is not None and view.problems:
        names = {b.name for s in sections(view.source) for e in s.entries for b in e.boxes}
        boxes = {(view.source.file, *place): name
                 for place, name in places(view.source).items() if name in names}
    return {"errors": view.errors, "warnings": warnings, "boxes": boxes}
