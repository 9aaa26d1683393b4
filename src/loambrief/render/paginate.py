"""From flowables to pages: filled from the top, breaks where nothing is torn apart."""

import math
from collections.abc import Callable, Iterator, Sequence
from io import BytesIO

from loambrief.errors import RenderFault
from loambrief.render.flowables import (
    SLACK,
    Either,
    Flowable,
    NewPage,
    Together,
    flat,
    stack,
)
from loambrief.render.grid import FILL_IN, Grid, GridRow
from loambrief.render.styles import Look
from loambrief.render.tags import TaggedCanvas

LEAST_LAST, LEAST_BEFORE = 0.35, 0.76
"""Shares of a page's height that the last page and those before it should hold at least."""
GOOD = 0.0
"""No page of what :func:`_emptiest` looks at lacks anything."""
SHORTENED, LESS, STEPS = 5, 0.24, 6
"""How many pages give to the last one, how much of their height at most, tried in how many
steps."""
SOFT_BLANK = 0.15
"""Share of a page that may stay blank so that heads stand with their words."""
FILL_INS = (FILL_IN, 20.0, 34.0)
"""Heights of rows to write in, in the order they are tried [pt]: ruled paper has 20."""


def _emptiest(used: Sequence[float]) -> float:
    """By how much the emptiest of the last pages falls short of what it should hold; 0 for none
    that does."""
    last = used[-1] - LEAST_LAST if len(used) > 1 else 0.0
    return min([0.0, last, *(share - LEAST_BEFORE for share in used[-1 - SHORTENED:-1])])


def _set(rows: Sequence[GridRow], least: float) -> None:
    for row in rows:
        row.least = least
        row.fixed.clear()


def _parts(made: Sequence[Flowable]) -> list[list[Flowable]]:
    """What stands between page breaks."""
    parts: list[list[Flowable]] = [[]]
    for flowable in made:
        if isinstance(flowable, NewPage):
            parts.append([])
        else:
            parts[-1].append(flowable)
    return [part for part in parts if part]


class Paginator:
    """Prints flowables on the pages of a canvas; ``furnish`` draws what stands outside the text."""

    def __init__(self, canvas: TaggedCanvas, look: Look,
                 furnish: Callable[[TaggedCanvas], None]):
        self.canvas, self.look, self.furnish = canvas, look, furnish
        self.shorter: Sequence[float] = ()
        """How much less the next pages hold than they could [pt]."""
        self.high = look.text_height
        self.opened = False
        """A page is open."""
        self.room = self.high
        """Left on the page [pt]."""
        self.after = 0.0
        """Distance that the last flowable wants below it."""
        self.on_top = True
        """The page is empty."""

    def print(self, made: Sequence[Flowable]) -> None:
        """Print everything and end the last page.

        Raises RenderFault if something is higher than a page and cannot be parted.
        """
        for part in _parts(made):
            self.shorter = self._arranged(part)
            self._break()
            self._print(part)
        self._end_page()

    def _arranged(self, part: Sequence[Flowable]) -> Sequence[float]:
        """How much less than they could pages hold, and rows to write in made lower or higher, so
        that neither the last page nor one before it is nearly empty.

        Pages are filled to the end if that is so by itself, or if nothing makes it so.
        """
        rows = [row for grid in flat(part) if isinstance(grid, Grid) for row in grid.rows
                if row.least]
        best: tuple[float, Sequence[float], float] | None = None
        count = 0
        for least in FILL_INS if rows else FILL_INS[:1]:
            _set(rows, least)
            full = _Trial(self.look, ()).fills(part)
            count = count or len(full)
            tries: list[Sequence[float]] = [()]
            if len(full) > 1 and full[-1] < LEAST_LAST:
                few = min(len(full) - 1, SHORTENED)
                tries += [[0.0] * (len(full) - 1 - few)
                          + [LESS * step / STEPS * self.look.text_height] * few
                          for step in range(1, STEPS + 1)]
            for less in tries:
                try:
                    used = _Trial(self.look, less).fills(part) if less else full
                except RenderFault:  # something is as high as a page
                    break
                emptiest = _emptiest(used)
                if len(used) <= count and (best is None or emptiest > best[0]):
                    best = emptiest, less, least
                    if emptiest >= GOOD:  # nothing is better
                        break
            if best is not None and best[0] >= GOOD:
                break
        if best is None:
            return ()
        _set(rows, best[2])
        return best[1]

    def _print(self, made: Sequence[Flowable], led: bool = False) -> None:
        """Fill pages; ``led``: a heading stands on this page, and the first of ``made`` with it."""
        index = 0
        while index < len(made):
            first = made[index]
            if isinstance(first, NewPage):
                self._break()
                index += 1
                continue
            end = index
            while end < len(made) - 1 and (made[end].keep_next or made[end].keep_soft) and (
                    not isinstance(made[end + 1], NewPage)):
                end += 1
            soft = [n for n in range(index, end) if made[n].keep_soft and not made[n].keep_next]
            if soft and self._least(made[index:end], made[end]) and (
                    (led and index == 0) or self.room > SOFT_BLANK * self.look.text_height):
                end = soft[-1]
            lead, last = made[index:end], made[end]
            if 0.0 < self._least(lead, last) <= self.high + SLACK:  # no room here, but there
                self._end_page()
            for flowable in lead:
                self._place(flowable)
            if isinstance(last, Together):
                self._print(last, bool(lead))
            elif isinstance(last, Either):
                self._print(self._ordered(last), bool(lead))
            else:
                self._place(last)
            index = end + 1

    def _ordered(self, last: Either) -> list[Flowable]:
        if last.chart_first(self.look.text_width, self.room - self.after):
            return [*last.chart, *last.said]
        self._swap(last)
        return [*last.said, *last.chart]

    def _swap(self, last: Either) -> None:
        last.swap()

    # Room -----------------------------------------------------------------------------

    def _least(self, lead: Sequence[Flowable], last: Flowable) -> float:
        """Height of what must stand together, as far as it has to be known [pt]; 0 if it fits."""
        first = next(iter((*lead, *flat([last]))), None)
        if self.on_top or first is None:
            return 0.0
        above, least = max(first.getSpaceBefore(), self.after), math.inf
        for need in _needs(lead, last, self.look.text_width):
            if above + need <= self.room + SLACK:
                return 0.0
            least = min(least, above + need)
        return least

    def _place(self, flowable: Flowable) -> None:
        """Print one flowable, in as many parts as it takes."""
        width = self.look.text_width
        while True:
            self._open_page()
            before = 0.0 if self.on_top else max(flowable.getSpaceBefore(), self.after)
            _, high = flowable.wrap(width, self.room - before)
            if before + high <= self.room + SLACK:
                self._draw(flowable, before, high)
                return
            flowable.on_top = self.on_top
            parts = flowable.split(width, self.room - before) if self.room > before else []
            if parts and parts[0].wrap(width, 1e6)[1] <= self.room - before + SLACK:
                self._draw(parts[0], before, parts[0].wrap(width, 1e6)[1])
                if len(parts) == 1:
                    return
                flowable, = parts[1:]
            elif self.on_top:
                raise RenderFault(f"a {type(flowable).__name__} {high:.0f} pt high does not fit "
                                  f"a page of {self.room:.0f} pt")
            self._end_page()

    def _draw(self, flowable: Flowable, before: float, high: float) -> None:
        lengths = self.look.lengths
        self._open_page()
        self.room -= before + high
        spare = self.look.text_height - self.high
        flowable.drawOn(self.canvas, lengths["margin_side"],
                        lengths["margin_bottom"] + spare + self.room)
        if high:
            self.after, self.on_top = flowable.getSpaceAfter(), False

    # Pages ----------------------------------------------------------------------------

    def _break(self) -> None:
        if self.opened and not self.on_top:
            self._end_page()
        else:
            self._start()

    def _open_page(self) -> None:
        if not self.opened:
            self.opened = True
            self.furnish(self.canvas)

    def _end_page(self) -> None:
        """End the page; a document has one at least."""
        if self.opened or not self.canvas.page_count():
            self._open_page()
            self.canvas.showPage()
        self.opened = False
        self._start()

    def _start(self) -> None:
        less, self.shorter = (self.shorter[0], self.shorter[1:]) if self.shorter else (0.0, ())
        self.high = self.look.text_height - less
        self.room, self.after, self.on_top = self.high, 0.0, True


def _needs(lead: Sequence[Flowable], last: Flowable, width: float) -> Iterator[float]:
    """Heights of which the page must have room for one [pt], the greatest and cheapest to work
    out first."""
    if isinstance(last, Together):
        yield stack([*lead, *flat(last)], width)
        return
    yield stack([*lead, last], width)
    above = stack(lead, width)
    if lead:
        above += max(lead[-1].getSpaceAfter(), last.getSpaceBefore())
    for start in last.starts(width):
        yield above + start


class _Trial(Paginator):
    """Fills pages without drawing, to see how full they become."""

    def __init__(self, look: Look, shorter: Sequence[float]):
        super().__init__(TaggedCanvas(BytesIO()), look, lambda canvas: None)
        self.shorter = shorter
        self.used: list[float] = []

    def fills(self, made: Sequence[Flowable]) -> list[float]:
        """Share of its height that each page uses."""
        self._start()
        self._print(made)
        self._end_page()
        return self.used

    def _swap(self, last: Either) -> None:
        """Nothing is drawn, so that nothing changes places."""

    def _draw(self, flowable: Flowable, before: float, high: float) -> None:
        self.opened = True
        self.room -= before + high
        if high:
            self.after, self.on_top = flowable.getSpaceAfter(), False

    def _end_page(self) -> None:
        if self.opened:
            self.used.append((self.high - self.room) / self.look.text_height)
        self.opened = False
        self._start()
