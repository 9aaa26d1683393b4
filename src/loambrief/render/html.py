"""The report as one HTML file for phones and screen readers, from the same model as the PDF.

One file, nothing to fetch: style, typeface and charts are in it, and there are no scripts.
Equal models give equal bytes.
"""

from __future__ import annotations

import tomllib
from functools import cache
from xml.etree import ElementTree as ET

from loambrief.charts.fonts import FAMILY
from loambrief.charts.theme import theme
from loambrief.charts.webfont import font_faces
from loambrief.colours import lifted, mixed
from loambrief.errors import ResourceMissing
from loambrief.render.html_blocks import make
from loambrief.render.html_tree import Element, Tree, add, append, markup, readable
from loambrief.report.blocks import DocumentStatus, ReportModel
from loambrief.report.parts import Summary
from loambrief.resources import templates_dir

POLICY = ("default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; "
          "base-uri 'none'; form-action 'none'")
"""What a browser may load for the page: nothing but what is in it."""
SOFT, LEAST_CONTRAST = 0.72, 4.5
"""Share of the ground in an accent behind text; contrast of text (WCAG 2.2, level AA)."""
COLOURS = ("ink", "muted", "rule", "faint", "paper", "accent", "accent_soft")


def render_html(model: ReportModel) -> bytes:
    """The document as one HTML file (UTF-8).

    Parameters
    ----------
    model : ReportModel

    Returns
    -------
    bytes

    Raises
    ------
    RenderFault
        A link to nowhere, an anchor used twice, a skipped heading level, a figure without a
        text alternative, a block that no function shows.
    ResourceMissing
        The style sheet, a font or the theme is not there.
    """
    tree = Tree(model.words)
    main = Element("main", {"id": "doc-main"})
    below = 1 if model.blocks and isinstance(model.blocks[0], Summary) else 2
    for block in model.blocks:
        if isinstance(block, Summary):  # a cover, if there is one, holds the page's own title
            tree.shift = below
        make(tree, main, block)
    tree.check_links()
    body = Element("body")
    add(body, "a", model.words.skip, href="#doc-main", class_="skip")
    _opening(body, model)
    _contents(body, tree)
    body.append(main)
    page = Element("html", {"lang": model.language})
    page.append(_head(model, "".join(body.itertext())))
    page.append(body)
    return f"<!DOCTYPE html>\n{markup(page)}".encode()


def _opening(body: Element, model: ReportModel) -> None:
    """What stands on top of each sheet of paper stands once on top of the page."""
    top = add(body, "header")
    line = add(top, "p", model.running_head)
    number = model.number or model.case_id
    append(line, f" · {number}" if line.text else number)
    if model.number and model.revision:
        append(line, f" · {model.revision}")
    word = {DocumentStatus.DRAFT: model.words.draft,
            DocumentStatus.WITHDRAWN: model.words.withdrawn}.get(model.status)
    if word:
        add(top, "p", word, class_="band")


def _contents(body: Element, tree: Tree) -> None:
    """Links to the main parts; in a document of several fields, to the fields."""
    top = min((level for level, _, _ in tree.contents), default=0)
    several = sum(level == 2 for level, _, _ in tree.contents) and tree.shift == 2
    wanted = (1, 2) if several else (top + 1,) if tree.shift else (top,)
    entries = [(name, text) for level, name, text in tree.contents if level in wanted]
    if len(entries) < 2:
        return
    nav = add(body, "nav", aria_label=tree.words.contents)
    folded = add(nav, "details")  # page 1 comes first on a small screen
    add(folded, "summary", tree.words.contents)
    made = add(folded, "ul")
    for name, text in entries:
        add(add(made, "li"), "a", text, href=f"#{name}")


def _head(model: ReportModel, text: str) -> Element:
    head = Element("head")
    add(head, "meta", charset="utf-8")
    for name, content in (
        ("viewport", "width=device-width, initial-scale=1"),
        ("color-scheme", "light dark"),
        ("referrer", "no-referrer"),
        ("generator", "Loambrief"),
        ("author", model.author),
        ("description", model.subject),
    ):
        if content:
            add(head, "meta", name=name, content=content)
    ET.SubElement(head, "meta", {"http-equiv": "Content-Security-Policy", "content": POLICY})
    add(head, "title", readable(model.title).replace("\n", " "))
    style = add(head, "style")
    style.text = f"\n{font_faces(text)}\n{_colours(model.accent)}\n{_style_sheet()}"
    return head


def page_colours(accent: str = "") -> tuple[dict[str, str], dict[str, str]]:
    """The theme's colours by day and by night, with an accent in place of its own."""
    day, night = {name: getattr(theme(), name) for name in COLOURS}, dict(_night())
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
def _night() -> dict[str, str]:
    path = templates_dir() / "theme.toml"
    night = tomllib.loads(path.read_text(encoding="utf-8")).get("night", {})
    if set(night) != set(COLOURS):
        raise ResourceMissing(f"{path}: [night] needs {', '.join(COLOURS)}")
    return night


@cache
def _style_sheet() -> str:
    path = templates_dir() / "page.css"
    if not path.is_file():
        raise ResourceMissing(f"{path} not found")
    return path.read_text(encoding="utf-8")
