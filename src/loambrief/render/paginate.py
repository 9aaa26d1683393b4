"""From flowables to pages: filled from the top, breaks where nothing is torn apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from loambrief.errors import RenderFault
from loambrief.render.flowables import SLACK, Flowable, NewPage, Together, flat, stack, start_of
from loambrief.render.styles import Look
from loambrief.render.tags import TaggedCanvas


class Paginator:
    """Prints flowables on the pages of a canvas.

    Parameters
    ----------
    look : Look
        Of a page.
    furnish : callable
        Draws on a new page what stands outside the text.
    """

    def __init__(self, canvas: TaggedCanvas, look: Look,
                 furnish: Callable[[TaggedCanvas], None]):
        self.canvas, self.look, self.furnish = canvas, look, furnish
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

        Raises
        ------
        RenderFault
            Something is higher than a page and cannot be parted.
        """
        self._print(made)
        self._end_page()

    def _print(self, made: Sequence[Flowable]) -> None:
        index = 0
        while index < len(made):
            first = made[index]
            if isinstance(first, NewPage):
                self._break()
                index += 1
                continue
            end = index
            while end < len(made) - 1 and made[end].keep_next and (
                    not isinstance(made[end + 1], NewPage)):
                end += 1
            lead, last = made[index:end], made[end]
            self._make_room(lead, last)
            for flowable in lead:
                self._place(flowable)
            if isinstance(last, Together):
                self._print(last)
            else:
                self._place(last)
            index = end + 1

    # Room -----------------------------------------------------------------------------

    def _make_room(self, lead: Sequence[Flowable], last: Flowable) -> None:
        """Go to the next page if there is no room for what must stand together."""
        width = self.look.text_width
        if self.on_top:
            return
        if isinstance(last, Together):
            whole = [*lead, *flat(last)]
            need = stack(whole, width)
            first = whole[0] if whole else None
        elif lead:
            between = max(lead[-1].getSpaceAfter(), last.getSpaceBefore())
            need, first = stack(lead, width) + between + start_of(last, width), lead[0]
        else:
            need, first = start_of(last, width), last
        if first is None:
            return
        need += max(first.getSpaceBefore(), self.after)
        if self.room + SLACK < need <= self.high + SLACK:
            self._end_page()

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
        flowable.drawOn(self.canvas, lengths["margin_side"], lengths["margin_bottom"] + self.room)
        if high:
            self.after, self.on_top = flowable.getSpaceAfter(), False

    # Pages ----------------------------------------------------------------------------

    def _break(self) -> None:
        if self.opened and not self.on_top:
            self._end_page()
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
        self.room, self.after, self.on_top = self.high, 0.0, True
