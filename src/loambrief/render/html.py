"""The report as one HTML file for phones and screen readers, from the same model as the PDF.

One file, nothing to fetch: style, typeface and charts are in it, and there are no scripts.
Equal models give equal bytes. What stands where is in ``templates/html``: a macro for each kind
of block, named as its class. There every text is escaped, so whatever a client types is text.
"""

import base64
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Any
from xml.etree import ElementTree as ET

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from loambrief.charts import ChartSpec, svg_chart
from loambrief.charts.fonts import FAMILY
from loambrief.charts.theme import theme
from loambrief.charts.webfont import font_faces
from loambrief.colours import lifted, mixed, theme_file
from loambrief.errors import RenderFault, ResourceMissing
from loambrief.report import blocks as b
from loambrief.report import parts as p
from loambrief.report.blocks import Text, plain, spans
from loambrief.report.compiled import compiled_templates
from loambrief.report.links import web_address
from loambrief.resources import templates_dir

POLICY = ("default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; "
          "base-uri 'none'; form-action 'none'")
"""What a browser may load for the page: nothing but what is in it."""
SOFT, LEAST_CONTRAST = 0.72, 4.5
"""Share of the ground in an accent behind text; contrast of text (WCAG 2.2, level AA)."""
COLOURS = ("ink", "muted", "rule", "faint", "paper", "accent", "accent_soft")
CHART_WIDTH = 250.0
"""Width charts are laid out for [pt]: on a phone held upright they are shown larger than so."""
MOST_COLUMNS = 3
"""The rows of tables with more stand on a phone as records, each cell after its column's title."""
SHOWN: tuple[type[b.Block], ...] = (
    b.Heading, b.Paragraph, b.Bullets, b.Numbered, b.Table, b.Figure, b.FigureRow, b.Callout,
    b.KeyFacts, b.PageBreak, b.KeepTogether, b.Beside, b.Annex, p.Summary, p.FindingBlock,
    p.ActionCard, p.CalculationList, p.SourceList, p.Photos, p.SignOff)
"""Kinds of block that have a macro."""
_ID = re.compile(r"[A-Za-z][A-Za-z0-9._-]*")


def render_html(model: b.ReportModel) -> bytes:
    """The document as one HTML file (UTF-8).

    Raises
    ------
    RenderFault
        A link to nowhere, an anchor used twice, a skipped heading level, a figure without a
        text alternative, a block that no macro shows.
    """
    page, environment = Page(model), _environment()
    word = {b.DocumentStatus.DRAFT: model.words.draft,
            b.DocumentStatus.WITHDRAWN: model.words.withdrawn}.get(model.status)
    body = Markup(environment.get_template("body.html.j2").render(
        model=model, page=page, word=word))
    page.check_links()
    style = "\n".join((font_faces(body.striptags()), _colours(model.accent), _style_sheet()))
    metas = (("viewport", "width=device-width, initial-scale=1"), ("color-scheme", "light dark"),
             ("referrer", "no-referrer"), ("generator", "Loambrief"), ("author", model.author),
             ("description", model.subject))
    return environment.get_template("page.html.j2").render(
        model=model, metas=metas, policy=Markup(POLICY), style=Markup(style), body=body).encode()


@cache
def _environment() -> Environment:
    """The templates; whatever they print is made readable, put on one line, and escaped."""
    folder = templates_dir() / "html"
    if not folder.is_dir():
        raise ResourceMissing(f"{folder} not found")
    made = Environment(
        loader=FileSystemLoader(folder), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=False,
        finalize=lambda value: value if hasattr(value, "__html__") else _line(value),
        bytecode_cache=compiled_templates())
    made.filters |= {
        "plain": plain,
        "filled": lambda texts: [text for text in texts if plain(text).strip()],
        "given": lambda pairs: [pair for pair in pairs if plain(pair[1]).strip()],
        "data": lambda raw, kind: f"data:{kind};base64,{base64.b64encode(raw).decode('ascii')}",
    }
    made.globals["most_columns"] = MOST_COLUMNS
    return made


def readable(text: str) -> str:
    """Text without what shows nothing: controls, zero-width and direction marks.

    Line ends stay as a newline. What no character set can hold becomes U+FFFD. Unlike on
    paper, letters of other scripts stay: the reader's device has type for them.
    """
    if text.isascii() and text.isprintable():
        return text
    return unicodedata.normalize("NFC", text.replace("\r\n", "\n")).translate(_SHOWN)


class _Shown(dict[int, str]):
    """What is shown for each character met so far."""

    def __missing__(self, code: int) -> str:
        char = chr(code)
        kind = unicodedata.category(char)
        if char in "\n\r\u2028\u2029\v\f":
            shown = "\n"
        elif kind in ("Cc", "Cf"):
            shown = " " if char == "\t" else ""
        else:
            shown = "\ufffd" if kind in ("Cs", "Cn") else char
        return self.setdefault(code, shown)


_SHOWN = _Shown()


def _line(value: object) -> str:
    return "" if value is None else readable(str(value)).replace("\n", " ")


def _lines(text: str) -> Markup:
    """A text escaped; a newline starts a new line."""
    return Markup("<br>").join(readable(text).split("\n"))


class Page:
    """What the templates call, and what belongs to the whole of one page."""

    def __init__(self, model: b.ReportModel):
        self.words, self._elsewhere = model.words, model.elsewhere
        self._macros: Any = _environment().get_template("blocks.html.j2").module
        self._titled = bool(model.blocks) and isinstance(model.blocks[0], p.Summary)
        self._shift = 0
        """How many levels the model's headings stand below the page's own."""
        self._level = 0
        """Level of the last heading of the model, 1 to 3; 0 before the first."""
        self._contents: list[tuple[int, str, str]] = []
        self._charts: list[ChartSpec] = []
        """Those on the page so far; each is drawn once."""
        self._ids: dict[str, str] = {}
        self._placed: set[str] = set()
        self._linked: set[str] = set()

    def show(self, block: b.Block) -> Markup:
        """One block; raises RenderFault for an unknown kind, and whatever is wrong inside it."""
        if type(block) not in SHOWN:
            raise RenderFault(f"no way to show a {type(block).__name__}")
        if isinstance(block, p.Summary):  # a cover, if there is one, holds the page's own title
            self._shift = 1 if self._titled else 2
        return getattr(self._macros, type(block).__name__)(self, block)

    def show_all(self, blocks: Iterable[b.Block]) -> Markup:
        return Markup("\n").join(self.show(block) for block in blocks)

    # Texts ----------------------------------------------------------------------------

    def attributes(self, **named: object) -> Markup:
        """Those attributes that have a value."""
        return Markup("").join(Markup(' {}="{}"').format(name, _line(value))
                               for name, value in named.items() if value)

    def text(self, text: Text, link: str = "") -> Markup:
        """A text with its looks and links; ``link`` where it has none."""
        made = Markup("")
        for span in spans(text):
            piece = _lines(span.text)
            for wanted, tag in ((span.muted, Markup('<span class="muted">{}</span>')),
                                (span.small, Markup("<small>{}</small>")),
                                (span.italic, Markup("<i>{}</i>")),
                                (span.bold, Markup("<b>{}</b>"))):
                if wanted:
                    piece = tag.format(piece)
            if span.language:
                piece = Markup('<span lang="{}">{}</span>').format(span.language, piece)
            target = self._target(span.link or link)
            if target:
                more = {"href": target, "aria-label": span.describe,
                        "rel": "" if target.startswith("#") else "noreferrer"}
                piece = Markup("<a{}>{}</a>").format(self.attributes(**more), piece)
            made += piece
        return made

    @staticmethod
    def either(first: Text, second: Text) -> Text:
        """Two texts as one; either may be empty."""
        made = [*spans(first)]
        return tuple([*made, "; " if made and plain(second) else "", *spans(second)])

    def earlier(self, spec: ChartSpec) -> str:
        """Id of the figure that shows the same chart already; "" if none does."""
        return f"doc-figure{self._charts.index(spec) + 1}" if spec in self._charts else ""

    def next_figure(self) -> str:
        """Id of the figure that the next chart is drawn in."""
        return f"doc-figure{len(self._charts) + 1}"

    def chart(self, spec: ChartSpec) -> Markup:
        """A chart as SVG, with its title and its text alternative inside; it must have one."""
        if not spec.alt.strip():
            raise RenderFault(f"figure {spec.title!r} has no text alternative")
        self._charts.append(spec)
        shown = replace(spec, title=readable(spec.title), alt=readable(spec.alt))
        drawn = svg_chart(shown, CHART_WIDTH, f"doc-chart{len(self._charts)}")
        return Markup(ET.tostring(drawn, encoding="unicode", method="html"))

    # Targets --------------------------------------------------------------------------

    def _id(self, anchor: str) -> str:
        """Id of an anchor, whatever is in its name."""
        if anchor not in self._ids:
            safe = _ID.fullmatch(anchor) and not anchor.startswith("doc-")
            self._ids[anchor] = anchor if safe else f"doc-to{len(self._ids)}"
        return self._ids[anchor]

    def anchor(self, anchor: str) -> Markup:
        """The id that makes an element the target of an anchor; RenderFault if another is."""
        if not anchor:
            return Markup("")
        if anchor in self._placed:
            raise RenderFault(f"two blocks with the anchor {anchor!r}")
        self._placed.add(anchor)
        return self.attributes(id=self._id(anchor))

    def check_links(self) -> None:
        """Raise RenderFault, naming every link target that no block has."""
        lost = sorted(self._linked - self._placed)
        if lost:
            raise RenderFault(f"links to nowhere: {', '.join(lost)}")

    def _target(self, link: str) -> str:
        """Where a link goes: a place on this page, a safe address, or nowhere."""
        link = link.strip()
        if link.startswith("#") and len(link) > 1:
            if link[1:] in self._elsewhere:
                return ""
            self._linked.add(link[1:])
            return f"#{self._id(link[1:])}"
        return web_address(link)

    # Headings -------------------------------------------------------------------------

    def heading(self, block: b.Heading) -> Markup:
        """A heading of the model; raises RenderFault if it skips a level."""
        return self._heading(block.level, block.text, block.anchor, block.bookmark,
                             "new-page" if block.new_page else "")

    def _heading(self, level: int, text: Text, anchor: str, bookmark: str = "",
                 look: str = "") -> Markup:
        if level > self._level + 1:
            raise RenderFault(f"heading {plain(text)!r} of level {level} after {self._level}")
        self._level = level
        if level == 1:
            anchor = self._enter(1 + self._shift, anchor, bookmark or plain(text))
        return self._element(min(level + self._shift, 6), text, look, anchor)

    def _element(self, level: int, text: Text, look: str = "", anchor: str = "") -> Markup:
        return Markup("<h{0}{1}{2}>{3}</h{0}>").format(
            level, self.attributes(**{"class": look}), self.anchor(anchor), self.text(text))

    def _enter(self, level: int, anchor: str, text: str) -> str:
        """Put a heading into the contents; returns its anchor, made up if it had none."""
        anchor = anchor or f"\0{len(self._contents)}"
        self._contents.append((level, self._id(anchor), text))
        return anchor

    def title(self, text: Text, anchor: str) -> Markup:
        """The heading of a title part."""
        return self._element(self._shift, text, "title",
                             self._enter(self._shift, anchor, plain(text)))

    def card(self, text: Text, anchor: str = "", rank: int | None = None) -> Markup:
        """A heading one level below the section's, which stays as it is for the next card."""
        level = self._level
        if rank is not None:
            text = (f"{rank}. ", *spans(text))
        made = self._heading(min(level + 1, 3), text, anchor)
        self._level = level
        return made

    def sub(self, text: Text) -> Markup:
        """A heading inside a title part; not in the contents."""
        return self._element(self._shift + 1, text)

    def entries(self) -> list[tuple[str, str]]:
        """Id and text of the main parts; in a document of several fields, of the fields."""
        top = min((level for level, _, _ in self._contents), default=0)
        several = self._shift == 2 and any(level == 2 for level, _, _ in self._contents)
        wanted = (1, 2) if several else (top + 1,) if self._shift else (top,)
        return [(name, text) for level, name, text in self._contents if level in wanted]


def page_colours(accent: str = "") -> tuple[dict[str, str], dict[str, str]]:
    """The theme's colours by day and by night, with an accent in place of its own."""
    day = {name: getattr(theme(), name) for name in COLOURS}
    night = dict(theme_file().get("night", {}))
    if set(night) != set(COLOURS):
        raise ResourceMissing(f"theme.toml: [night] needs {', '.join(COLOURS)}")
    if accent:
        day |= {"accent": accent, "accent_soft": mixed(accent, day["paper"], SOFT)}
        night |= {"accent": lifted(accent, night["paper"], LEAST_CONTRAST),
                  "accent_soft": mixed(accent, night["paper"], SOFT)}
    return day, night


def _colours(accent: str) -> str:
    """The colours as CSS variables."""
    day, night = page_colours(accent)
    rules = []
    for start, values, end in (
        (":root{", day, "}"),
        ("@media (prefers-color-scheme:dark){@media screen{:root{", night, "}}}"),
    ):
        pairs = "".join(f"--{k.replace('_', '-')}:{values[k]};" for k in COLOURS)
        rules.append(f"{start}{pairs}{end}")
    return "\n".join([*rules, f":root{{--sheet:{day['paper']};--family:{FAMILY}}}"])


@cache
def _style_sheet() -> str:
    path = templates_dir() / "page.css"
    if not path.is_file():
        raise ResourceMissing(f"{path} not found")
    return path.read_text(encoding="utf-8")
