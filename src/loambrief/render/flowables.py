"""Flowables that draw themselves with their tags, and split without losing them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import getAscentDescent, stringWidth
from reportlab.platypus import CondPageBreak, Flowable, FrameBreak, Paragraph

from loambrief.render.tags import Box, Element, TaggedCanvas, TaggedText, artifact_operator

SLACK = 1e-6


@dataclass(slots=True)
class LinkTag:
    """A link inside a paragraph: its element, where it goes, what is said for it."""

    element: Element
    target: str
    contents: str


@dataclass(slots=True)
class ParagraphTag:
    """What the pieces of one paragraph share.

    Attributes
    ----------
    element : Element or None
        None prints the paragraph as decoration.
    links : list of LinkTag
        Numbered as in the paragraph's text.
    label, label_element, label_style : str, Element or None, ParagraphStyle or None
        Bullet or number, drawn once, left of the first line.
    bookmark : callable or None
        Called with the canvas and the height when the first piece is drawn.
    open : LinkTag or None
        Link that goes on in the next piece.
    """

    element: Element | None
    links: list[LinkTag] = field(default_factory=list)
    label: str = ""
    label_element: Element | None = None
    label_style: ParagraphStyle | None = None
    label_x: float = 0.0
    bookmark: Callable[[TaggedCanvas, float], None] | None = None
    open: LinkTag | None = None
    drawn: bool = False


class TaggedParagraph(Paragraph):
    """A paragraph of ready fragments that knows its element.

    A paragraph drawn a second time (a repeated column title) is decoration.
    """

    def __init__(self, text=None, style=None, bulletText=None, frags=None, *,
                 tag: ParagraphTag | None = None):
        super().__init__(text, style, bulletText, frags)
        self.tag = tag or ParagraphTag(None)
        self._whole = True
        self._again = False

    def wrap(self, availWidth, availHeight):
        if getattr(self, "_known", None) == availWidth and hasattr(self, "blPara"):
            return self.width, self.height
        size = super().wrap(availWidth, availHeight)
        self._known = availWidth
        return size

    def split(self, availWidth, availHeight):
        pieces = super().split(availWidth, availHeight)
        for index, piece in enumerate(pieces):
            if piece is not self:
                piece.tag, piece._whole = self.tag, self._whole and index == 0
        return pieces

    def start_height(self, width: float) -> float:
        """Height of the fewest lines that may stand alone at the end of a page."""
        _, height = self.wrap(width, 1e6)
        lines = len(self.blPara.lines)
        return height if lines <= 3 else 2 * self.style.leading

    def beginText(self, x, y):
        if self._again:  # a column title once more, on the next page
            return TaggedText(self.canv, x, y, None, artifact_operator("Pagination", "Header"))
        return TaggedText(self.canv, x, y, self._element())

    def _element(self) -> Element | None:
        return self.tag.open.element if self.tag.open else self.tag.element

    def draw(self):
        tag, canvas = self.tag, self.canv
        if self._whole:
            self._again, tag.drawn = tag.drawn, True
            if tag.bookmark and not self._again:
                tag.bookmark(canvas, self.height)
            if tag.label:
                self._draw_label()
        canvas.setNamedCB("link", self._meet)
        canvas.on_link = self._click
        super().draw()

    def _draw_label(self) -> None:
        tag, style = self.tag, self.tag.label_style or self.style
        ascent, _ = getAscentDescent(self.style.fontName, self.style.fontSize)
        with self.canv.tagged(None if self._again else tag.label_element):
            self.canv.setFont(style.fontName, style.fontSize)
            self.canv.setFillColor(style.textColor)
            self.canv.drawString(tag.label_x, self.height - ascent, tag.label)

    def _meet(self, canvas: TaggedCanvas, kind: str, label: tuple[int, bool]) -> None:
        """Start or end of a link, met while a line is being put together."""
        tag = self.tag
        if self._again or tag.element is None:
            return
        number, starts = label
        text = canvas._curr_tx_info["tx"]
        text.shut()
        tag.open = tag.links[number] if starts else None
        if starts:
            tag.element.kids.append(tag.open.element)
        text.switch(self._element())

    def _click(self, number: str, box: Box) -> None:
        """One line of a link has been laid out at a place."""
        if self._again or self.tag.element is None:
            return
        link = self.tag.links[int(number)]
        self.canv.add_link(link.element, link.target, link.contents, box)


class Rule(Flowable):
    """A line across the text, decoration."""

    def __init__(self, width: float | None, thickness: float, colour, before=0.0, after=0.0):
        super().__init__()
        self.wanted, self.thickness, self.colour = width, thickness, colour
        self.spaceBefore, self.spaceAfter = before, after

    def wrap(self, availWidth, availHeight):
        self.width = min(self.wanted or availWidth, availWidth)
        self.height = self.thickness
        return self.width, self.height

    def draw(self):
        with self.canv.artifact():
            self.canv.setFillColor(self.colour)
            self.canv.rect(0, 0, self.width, self.thickness, stroke=0, fill=1)


class Chart(Flowable):
    """A figure: drawn by a function, heard as its text alternative.

    Parameters
    ----------
    element : Element
        Role Figure.
    size : callable
        Width [pt] to (width, height).
    draw : callable
        Canvas, x, y, width: draws with the lower left corner at (x, y).
    tallest : float
        A higher figure is made smaller as a whole.
    """

    def __init__(self, element: Element, size, draw, tallest: float, before=0.0, after=0.0):
        super().__init__()
        self.element, self._size, self._draw, self.tallest = element, size, draw, tallest
        self.spaceBefore, self.spaceAfter = before, after

    def wrap(self, availWidth, availHeight):
        self.wanted = availWidth
        self.full = self._size(availWidth)
        self.scale = min(1.0, self.tallest / self.full[1], availWidth / self.full[0])
        self.width, self.height = (side * self.scale for side in self.full)
        return self.width, self.height

    def draw(self):
        canvas = self.canv
        x, y = canvas.absolutePosition(0, 0)
        box = " ".join(f"{v:.2f}" for v in (x, y, x + self.width, y + self.height))
        self.element.attributes = f"/O/Layout/Placement/Block/BBox[{box}]"
        with canvas.tagged(self.element):
            canvas.saveState()
            canvas.scale(self.scale, self.scale)
            self._draw(canvas, 0.0, 0.0, self.wanted)
            canvas.restoreState()


def stack(flowables: Sequence[Flowable], width: float) -> float:
    """Height of flowables one below the other, spaces between them merged [pt]."""
    height, after = 0.0, 0.0
    for index, flowable in enumerate(flowables):
        _, own = flowable.wrap(width, 1e6)
        before = flowable.getSpaceBefore() if index else 0.0
        height += max(before, after) + own
        after = flowable.getSpaceAfter()
    return height


def start_of(flowable: Flowable, width: float) -> float:
    """Least height that the start of a flowable needs [pt]."""
    known = getattr(flowable, "start_height", None)
    return known(width) if known else flowable.wrap(width, 1e6)[1]


def cut(flowables: Sequence[Flowable], width: float, height: float):
    """Flowables that fit into a height, and the rest.

    The first part never ends with what must stay with its follower (``keep_next``).
    """
    fitting: list[Flowable] = []
    rest = list(flowables)
    used, after = 0.0, 0.0
    while rest:
        flowable = rest[0]
        space = max(flowable.getSpaceBefore() if fitting else 0.0, after)
        _, own = flowable.wrap(width, 1e6)
        if used + space + own <= height + SLACK:
            fitting.append(rest.pop(0))
            used, after = used + space + own, flowable.getSpaceAfter()
            continue
        pieces = flowable.split(width, height - used - space) if height > used + space else []
        if pieces and pieces[0].wrap(width, 1e6)[1] <= height - used - space + SLACK:
            fitting.append(pieces[0])
            rest[0:1] = pieces[1:]
        break
    keep = len(fitting)
    while rest and keep and getattr(fitting[keep - 1], "keep_next", False):
        keep -= 1
    if not keep:  # nothing but what should be kept with its follower: parted all the same
        return fitting, rest
    return fitting[:keep], [*fitting[keep:], *rest]


class Columns(Flowable):
    """Flowables side by side, each column with its own width, tops level.

    Parameters
    ----------
    columns : sequence of (offset, width, flowables)
        Offset and width [pt].
    """

    def __init__(self, columns, before=0.0, after=0.0, keep_whole=0.0):
        super().__init__()
        self.columns = tuple((x, w, list(f)) for x, w, f in columns)
        self.spaceBefore, self.spaceAfter = before, after
        self.keep_whole = keep_whole

    def wrap(self, availWidth, availHeight):
        self.width = max(x + w for x, w, _ in self.columns)
        self.height = max(stack(f, w) for _, w, f in self.columns)
        return self.width, self.height

    def start_height(self, width: float) -> float:
        _, height = self.wrap(width, 1e6)
        if height <= self.keep_whole:
            return height
        return max((_start(f, w) for _, w, f in self.columns if f), default=0.0)

    def split(self, availWidth, availHeight):
        if self.wrap(availWidth, availHeight)[1] <= availHeight + SLACK:
            return [self]
        parts = [(x, w, *cut(f, w, availHeight)) for x, w, f in self.columns]
        fits = [bool(fitting) for _, _, fitting, rest in parts if fitting or rest]
        on_top = getattr(getattr(self, "_frame", None), "_atTop", False)
        if not any(fits) or not (all(fits) or on_top):
            return []
        first = Columns([(x, w, fitting) for x, w, fitting, _ in parts], self.spaceBefore, 0)
        last = Columns([(x, w, rest) for x, w, _, rest in parts], 0, self.spaceAfter)
        return [first, last]

    def draw(self):
        for x, width, flowables in self.columns:
            y, after = self.height, 0.0
            for index, flowable in enumerate(flowables):
                y -= max(flowable.getSpaceBefore() if index else 0.0, after)
                _, own = flowable.wrapOn(self.canv, width, 1e6)
                y -= own
                flowable.drawOn(self.canv, x, y)
                after = flowable.getSpaceAfter()


def _start(flowables: Sequence[Flowable], width: float) -> float:
    """Height of a list up to the start of its first flowable that may be last on a page."""
    lead = []
    for flowable in flowables:
        if not getattr(flowable, "keep_next", False):
            return stack(lead, width) + start_of(flowable, width)
        lead.append(flowable)
    return stack(lead, width)


class Barred(Flowable):
    """Flowables with a bar at their left, whose pattern says what kind they are.

    Parameters
    ----------
    flowables : list of Flowable
    indent : float
        From the bar to the text [pt].
    bar : float
        Thickness [pt].
    colour : Color
    dash : sequence of float
        Empty for a full bar.
    """

    def __init__(self, flowables, indent, bar, colour, dash=(), before=0.0, after=0.0):
        super().__init__()
        self.flowables, self.indent, self.bar = list(flowables), indent, bar
        self.colour, self.dash = colour, tuple(dash)
        self.spaceBefore, self.spaceAfter = before, after

    def wrap(self, availWidth, availHeight):
        self.width = availWidth
        self.height = stack(self.flowables, availWidth - self.indent)
        return self.width, self.height

    def start_height(self, width: float) -> float:
        return _start(self.flowables, width - self.indent)

    def split(self, availWidth, availHeight):
        fitting, rest = cut(self.flowables, availWidth - self.indent, availHeight)
        if not rest:
            return [self]
        if not fitting:
            return []
        look = (self.indent, self.bar, self.colour, self.dash)
        return [Barred(fitting, *look, before=self.spaceBefore),
                Barred(rest, *look, after=self.spaceAfter)]

    def draw(self):
        canvas = self.canv
        with canvas.artifact():
            canvas.saveState()
            canvas.setStrokeColor(self.colour)
            canvas.setLineWidth(self.bar)
            canvas.setDash(list(self.dash))
            canvas.line(self.bar / 2, 0, self.bar / 2, self.height)
            canvas.restoreState()
        inner = Columns([(self.indent, self.width - self.indent, self.flowables)])
        inner.wrap(self.width, 1e6)
        inner.drawOn(canvas, 0, 0)


class Together(list):
    """Flowables that go to the next page as a whole, if they fit one page."""


def flat(made: Sequence[Flowable | Together]) -> list[Flowable]:
    """Flowables without their groups."""
    out: list[Flowable] = []
    for item in made:
        out += flat(item) if isinstance(item, Together) else [item]
    return out


class Need(CondPageBreak):
    """Starts a new page unless what follows has room to begin on this one.

    Parameters
    ----------
    flowables : sequence of Flowable
        What must not be parted; of the last one, its start is enough unless ``whole``.
    """

    def __init__(self, flowables: Sequence[Flowable], whole: bool = False):
        super().__init__(0)
        self.flowables, self.whole = tuple(flowables), whole

    def wrap(self, availWidth, availHeight):
        frame = getattr(self, "_frame", None)
        if frame is None or frame._atTop:
            return 0, 0
        *lead, last = self.flowables
        for flowable in self.flowables:
            flowable.canv = self.canv
        before = self.flowables[0].getSpaceBefore()
        if self.whole or not lead:
            need = before + (stack(self.flowables, availWidth) if self.whole
                             else start_of(last, availWidth))
        else:
            between = max(lead[-1].getSpaceAfter(), last.getSpaceBefore())
            need = before + stack(lead, availWidth) + between + start_of(last, availWidth)
        if need > availHeight + SLACK and need <= frame._aH + SLACK:
            frame.add_generated_content(FrameBreak)
        return 0, 0


class Anchor(Flowable):
    """A place that links go to, of no height."""

    _ZEROSIZE = True

    def __init__(self, bookmark: Callable[[TaggedCanvas, float], None]):
        super().__init__()
        self.bookmark = bookmark

    def wrap(self, availWidth, availHeight):
        return 0, 0

    def draw(self):
        self.bookmark(self.canv, 0.0)


class SignatureField(Flowable):
    """An empty digital signature field; nothing is drawn.

    Parameters
    ----------
    element : Element
        Role Form.
    name, label : str
        For the program that signs, and for a screen reader.
    height : float
        [pt]
    last : bool
        Nothing may change once this field is signed.
    """

    def __init__(self, element: Element, name: str, label: str, height: float, last: bool = False):
        super().__init__()
        self.element, self.name, self.label, self.height = element, name, label, height
        self.last = last

    def wrap(self, availWidth, availHeight):
        self.width = availWidth
        return self.width, self.height

    def draw(self):
        box = (0.0, 0.0, self.width, self.height)
        self.canv.add_signature_field(self.element, self.name, self.label, box, self.last)


def text_width(text: str, style: ParagraphStyle) -> float:
    """Width of a line of text in a style [pt]."""
    return stringWidth(text, style.fontName, style.fontSize)
