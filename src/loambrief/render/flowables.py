"""Flowables that draw themselves with their tags, and split without losing them.

They know nothing of pages: ``wrap`` gives their size at a width, ``split`` parts them at a
height, ``drawOn`` draws them. Distances above and below are ``spaceBefore`` and
``spaceAfter``; ``keep_next`` keeps one with its follower. Any flowable of reportlab fits in.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from reportlab.lib.enums import TA_CENTER, TA_LEFT
from reportlab.lib.styles import ParagraphStyle

from loambrief.render.lines import Piece, TextLine, break_lines, fill, number
from loambrief.render.tags import Element, TaggedCanvas, artifact_operator

SLACK = 1e-6
REPEATED = artifact_operator("Pagination", "Header")


class Flowable:
    """Root of what is laid out on pages; draws at absolute places.

    Subclasses set ``width`` and ``height`` in :meth:`wrap` and draw with their lower left
    corner at (0, 0) in :meth:`draw`, or override :meth:`drawOn`.
    """

    spaceBefore = spaceAfter = 0.0
    keep_next = False
    keep_soft = False
    """Stays with its follower too, unless that leaves much of a page blank."""
    on_top = False
    """At the top of a page: parted even where nothing good can be parted."""
    width = height = 0.0
    canv: TaggedCanvas

    def getSpaceBefore(self) -> float:
        return self.spaceBefore

    def getSpaceAfter(self) -> float:
        return self.spaceAfter

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        """Width and height at a width [pt]."""
        raise NotImplementedError

    def split(self, availWidth: float, availHeight: float) -> list:
        """Parts of which the first fits; empty if there is no good place to part it."""
        return []

    def start_height(self, width: float) -> float:
        """Height of the least that may stand at the end of a page [pt]."""
        return self.wrap(width, 1e6)[1]

    def starts(self, width: float) -> Iterator[float]:
        """The same for each order in which its parts may stand, quick to work out first."""
        yield self.start_height(width)

    def draw(self) -> None:
        """Draw with the lower left corner at (0, 0) of ``self.canv``."""

    def drawOn(self, canvas: TaggedCanvas, x: float, y: float) -> None:
        """Draw with the lower left corner at (x, y)."""
        self.canv = canvas
        canvas.saveState()
        canvas.translate(x, y)
        self.draw()
        canvas.restoreState()
        del self.canv


@dataclass(slots=True)
class LinkTag:
    """A link inside a paragraph: its element, where it goes, what is said for it.

    Without a target it is a piece in another language, which is only marked.
    """

    element: Element
    target: str
    contents: str
    placed: bool = False
    """Its element is in the tree."""


@dataclass(slots=True)
class ParagraphTag:
    """What the parts of one paragraph share."""

    element: Element | None
    """None prints the paragraph as decoration."""
    links: list[LinkTag] = field(default_factory=list)
    """Numbered as in the paragraph's pieces."""
    label: str = ""
    label_element: Element | None = None
    label_style: ParagraphStyle | None = None
    """``label``, ``label_element``, ``label_style``: bullet or number, drawn once, left of the
    first line."""
    label_x: float = 0.0
    bookmark: Callable[[TaggedCanvas, float], None] | None = None
    """Called with the canvas and the height of the top when the first part is drawn."""
    drawn: bool = False
    """The first part has been drawn."""


class TaggedParagraph(Flowable):
    """A paragraph of pieces that knows its element.

    At least two lines of it stand on either side of a page break. A paragraph drawn a second
    time (a repeated column title) is decoration. Of its style count leading, indents, distances
    and the alignment.
    """

    def __init__(self, pieces: Sequence[Piece], style: ParagraphStyle, tag: ParagraphTag):
        self.pieces, self.style, self.tag = pieces, style, tag
        self.spaceBefore, self.spaceAfter = style.spaceBefore, style.spaceAfter
        self.lines: list[TextLine] = []
        self._first = True
        self._known = -1.0

    def wrap(self, availWidth, availHeight):
        if self._known != availWidth:
            style = self.style
            room = availWidth - style.leftIndent - style.rightIndent
            self.lines = break_lines(self.pieces, room - style.firstLineIndent, room)
            self._known = self.width = availWidth
            self.height = len(self.lines) * style.leading
        return self.width, self.height

    def split(self, availWidth, availHeight):
        self.wrap(availWidth, availHeight)
        if self.height <= availHeight + SLACK:
            return [self]
        lines, fitting = len(self.lines), int((availHeight + SLACK) / self.style.leading)
        fitting = min(fitting, lines - 2)
        if fitting < 2:
            return []
        return [self._part(self.lines[:fitting], self._first, after=0.0),
                self._part(self.lines[fitting:], False, before=0.0)]

    def _part(self, lines: list[TextLine], first: bool, before: float | None = None,
              after: float | None = None) -> "TaggedParagraph":
        part = type(self)(self.pieces, self.style, self.tag)
        part.__dict__.update(self.__dict__)
        part.lines, part._first = lines, first
        part.height = len(lines) * self.style.leading
        part.spaceBefore = self.spaceBefore if before is None else before
        part.spaceAfter = self.spaceAfter if after is None else after
        return part

    def start_height(self, width: float) -> float:
        _, height = self.wrap(width, 1e6)
        return height if len(self.lines) <= 3 else 2 * self.style.leading

    def drawOn(self, canvas, x, y):
        tag, top = self.tag, y + self.height
        again = False
        if self._first:
            again, tag.drawn = tag.drawn, True
            if tag.bookmark and not again:
                tag.bookmark(canvas, top)
            if tag.label:
                self._draw_label(canvas, x, top, again)
        self._draw_lines(canvas, x, top - self.style.fontSize, again)

    def _draw_label(self, canvas: TaggedCanvas, x: float, top: float, again: bool) -> None:
        tag, style = self.tag, self.tag.label_style or self.style
        colour = style.textColor
        shown = canvas.printer.show(tag.label, style.fontName, style.fontSize)
        element = None if again else tag.label_element
        canvas.put(
            canvas.operator(element) if element else artifact_operator(),
            f"BT {fill(colour.red, colour.green, colour.blue)} {number(x + tag.label_x)} "
            f"{number(top - self.style.fontSize)} Td {shown} ET EMC")

    def _draw_lines(self, canvas: TaggedCanvas, x: float, base: float, again: bool) -> None:
        """The lines; each stretch that belongs to one element is marked as its own."""
        tag, style = self.tag, self.style
        decoration = REPEATED if again else artifact_operator()
        plain = again or tag.element is None
        code: list[str] = []
        marked: Element | bool | None = False  # False: nothing is open
        colour, font, size = None, "", 0.0
        start = (0.0, 0.0)
        show = canvas.printer.show
        for index, line in enumerate(self.lines):
            if not line.runs:
                base -= style.leading
                continue
            at = x + self._offset(line, index)
            fresh = True
            for piece, text, width in line.runs:
                link = tag.links[piece.link] if piece.link >= 0 and not plain else None
                element = None if plain else link.element if link else tag.element
                if marked is False or element is not marked:
                    if marked is not False:
                        code.append("ET EMC")
                    if link and tag.element and not link.placed:
                        link.placed = True
                        tag.element.kids.append(link.element)
                    code.append(decoration if element is None else canvas.operator(element))
                    code.append("BT")
                    marked, fresh, start = element, True, (0.0, 0.0)
                if fresh:
                    code.append(f"{number(at - start[0])} {number(base - start[1])} Td")
                    start, fresh = (at, base), False
                if piece.colour is not colour:
                    colour = piece.colour
                    code.append(fill(colour.red, colour.green, colour.blue))
                code.append(show(text, piece.font, piece.size,
                                 font == piece.font and size == piece.size))
                font, size = piece.font, piece.size
                if link and link.target:
                    canvas.add_link(link.element, link.target, link.contents,
                                    (at, base - 0.25 * piece.size, at + width,
                                     base + 0.85 * piece.size))
                at += width
            base -= style.leading
        if marked is not False:
            code.append("ET EMC")
            canvas.put(" ".join(code))

    def _offset(self, line: TextLine, index: int) -> float:
        """From the left edge to the start of a line."""
        style = self.style
        left = style.leftIndent + (style.firstLineIndent if index == 0 and self._first else 0.0)
        if style.alignment == TA_LEFT:
            return left
        spare = self.width - left - style.rightIndent - line.width
        return left + (spare / 2 if style.alignment == TA_CENTER else spare)


class RuledLine(Flowable):
    """A line across the text, decoration."""

    def __init__(self, width: float | None, thickness: float, colour, before=0.0, after=0.0):
        self.wanted, self.thickness, self.colour = width, thickness, colour
        self.spaceBefore, self.spaceAfter = before, after

    def wrap(self, availWidth, availHeight):
        self.width = min(self.wanted or availWidth, availWidth)
        self.height = self.thickness
        return self.width, self.height

    def drawOn(self, canvas, x, y):
        colour = self.colour
        canvas.put(f"{artifact_operator()} {fill(colour.red, colour.green, colour.blue)} "
                   f"{number(x)} {number(y)} {number(self.width)} {number(self.thickness)} re f "
                   "EMC")


class Chart(Flowable):
    """A figure: drawn by a function, heard as its text alternative.

    ``size`` gives (width, height) for a width [pt]; ``draw`` draws on a canvas from the lower left
    corner (x, y) at a width. A figure higher than ``tallest`` is made smaller as a whole.
    """

    def __init__(self, element: Element, size, draw, tallest: float):
        self.element, self._size, self._draw, self.tallest = element, size, draw, tallest
        self.wanted = -1.0

    def wrap(self, availWidth, availHeight):
        if self.wanted != availWidth:
            self.wanted = availWidth
            full = self._size(availWidth)
            self.scale = min(1.0, self.tallest / full[1], availWidth / full[0])
            self.width, self.height = (side * self.scale for side in full)
        return self.width, self.height

    def drawOn(self, canvas, x, y):
        box = " ".join(f"{v:.2f}" for v in (x, y, x + self.width, y + self.height))
        self.element.attributes = f"/O/Layout/Placement/Block/BBox[{box}]"
        with canvas.tagged(self.element):
            canvas.saveState()
            canvas.translate(x, y)
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


def pile(canvas: TaggedCanvas, flowables: Sequence[Flowable], x: float, top: float,
         width: float) -> None:
    """Draw flowables one below the other, the first with its top at a height."""
    after = 0.0
    for index, flowable in enumerate(flowables):
        top -= max(flowable.getSpaceBefore() if index else 0.0, after)
        _, own = flowable.wrap(width, 1e6)
        top -= own
        flowable.drawOn(canvas, x, top)
        after = flowable.getSpaceAfter()


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
    while rest and keep and fitting[keep - 1].keep_next:
        keep -= 1
    if not keep:  # nothing but what should be kept with its follower: parted all the same
        return fitting, rest
    return fitting[:keep], [*fitting[keep:], *rest]


class SideBySide(Flowable):
    """Flowables side by side, tops level: columns of (offset, width, flowables).

    Up to the height ``keep_whole`` [pt] it is not parted unless it must be.
    """

    elements: Sequence[object] = ()
    """What it shows in the structure tree, where somebody asks."""

    def __init__(self, columns, before=0.0, after=0.0, keep_whole=0.0):
        self.columns = tuple((x, w, list(f)) for x, w, f in columns)
        self.spaceBefore, self.spaceAfter = before, after
        self.keep_whole = keep_whole

    def wrap(self, availWidth, availHeight):
        if not self.width:
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
        if not any(fits) or not (all(fits) or self.on_top):
            return []
        first = SideBySide([(x, w, fitting) for x, w, fitting, _ in parts], self.spaceBefore, 0)
        last = SideBySide([(x, w, rest) for x, w, _, rest in parts], 0, self.spaceAfter)
        return [first, last]

    def drawOn(self, canvas, x, y):
        for offset, width, flowables in self.columns:
            pile(canvas, flowables, x + offset, y + self.height, width)


def _start(flowables: Sequence[Flowable], width: float) -> float:
    """Height of a list up to the start of its first flowable that may be last on a page."""
    lead: list[Flowable] = []
    for flowable in flowables:
        if not flowable.keep_next:
            between = max(lead[-1].getSpaceAfter(), flowable.getSpaceBefore()) if lead else 0.0
            return stack(lead, width) + between + flowable.start_height(width)
        lead.append(flowable)
    return stack(lead, width)


class Barred(Flowable):
    """Flowables with a bar at their left, whose pattern says what kind they are.

    ``indent`` is from the bar to the text, ``bar`` its thickness [pt]; ``dash`` is empty for a full
    bar; ``again`` stands on top where it goes on over a page.
    """

    def __init__(self, flowables, indent, bar, colour, dash=(), before=0.0, after=0.0,
                 again=None):
        self.again = again
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
        look = (self.indent, self.bar, self.colour, self.dash)
        fitting, rest = cut(self.flowables, availWidth - self.indent, availHeight)
        if rest and len(fitting) == 1 and fitting[0] is self.again:
            # What goes on fills a page alone: without the line on top, or never.
            bare = Barred(rest, *look, after=self.spaceAfter, again=self.again)
            return bare.split(availWidth, availHeight)
        if not rest:
            return [self]
        if not fitting:
            return []
        more = [] if self.again is None else [self.again]
        return [Barred(fitting, *look, before=self.spaceBefore),
                Barred([*more, *rest], *look, after=self.spaceAfter, again=self.again)]

    def drawOn(self, canvas, x, y):
        with canvas.artifact():
            canvas.saveState()
            canvas.setStrokeColor(self.colour)
            canvas.setLineWidth(self.bar)
            canvas.setDash(list(self.dash))
            canvas.line(x + self.bar / 2, y, x + self.bar / 2, y + self.height)
            canvas.restoreState()
        pile(canvas, self.flowables, x + self.indent, y + self.height, self.width - self.indent)


class Together(list[Flowable], Flowable):
    """Flowables that go to the next page as a whole, if they fit one page."""


def flat(made: Sequence[Flowable]) -> list[Flowable]:
    """Flowables without their groups."""
    out: list[Flowable] = []
    for item in made:
        out += flat(item) if isinstance(item, Together) else [item]
    return out


class Either(Flowable):
    """A result with its chart and then what is said of it, or the other way round where the chart
    would leave the rest of a page blank.

    ``swap`` puts their elements in the other order; it is called once, before they are drawn so.
    """

    def __init__(self, chart: Sequence[Flowable], said: Sequence[Flowable],
                 swap: Callable[[], None]):
        self.chart, self.said, self.swap = flat(chart), flat(said), swap

    def wrap(self, availWidth, availHeight):
        return availWidth, stack([*self.chart, *self.said], availWidth)

    def getSpaceBefore(self) -> float:
        return max(self.chart[0].getSpaceBefore(), self.said[0].getSpaceBefore())

    def start_height(self, width: float) -> float:
        return min(self.starts(width))

    def starts(self, width: float) -> Iterator[float]:
        yield _start(self.said, width)
        yield _start(self.chart, width)

    def chart_first(self, width: float, room: float) -> bool:
        """The chart, or a good part of it, has room."""
        return stack(self.chart, width) <= room or _start(self.chart, width) <= room


class NewPage(Flowable):
    """A new page, unless this one is empty."""


class Anchor(Flowable):
    """A place that links go to, of no height."""

    def __init__(self, bookmark: Callable[[TaggedCanvas, float], None]):
        self.bookmark = bookmark

    def wrap(self, availWidth, availHeight):
        return 0, 0

    def drawOn(self, canvas, x, y):
        self.bookmark(canvas, y)


class SignatureField(Flowable):
    """An empty digital signature field; nothing is drawn.

    ``name`` is for the program that signs, ``label`` for a screen reader; nothing may change once
    the ``last`` field is signed.
    """

    def __init__(self, element: Element, name: str, label: str, height: float, last: bool = False):
        self.element, self.name, self.label, self.height = element, name, label, height
        self.last = last

    def wrap(self, availWidth, availHeight):
        self.width = availWidth
        return self.width, self.height

    def drawOn(self, canvas, x, y):
        box = (x, y, x + self.width, y + self.height)
        canvas.add_signature_field(self.element, self.name, self.label, box, self.last)
