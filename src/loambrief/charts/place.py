"""Keeps labels apart: along a line, and around points in a plane."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class TextBox:
    """A rectangle in sheet points: x to the right, y downward."""

    x0: float
    y0: float
    x1: float
    y1: float

    def hits(self, other: "TextBox", gap: float = 0.0) -> bool:
        return (self.x0 < other.x1 + gap and other.x0 < self.x1 + gap
                and self.y0 < other.y1 + gap and other.y0 < self.y1 + gap)

    def within(self, other: "TextBox") -> bool:
        return (self.x0 >= other.x0 and self.x1 <= other.x1
                and self.y0 >= other.y0 and self.y1 <= other.y1)


def spread(centres: Sequence[float], sizes: Sequence[float], low: float, high: float,
           gap: float = 2.0) -> list[float]:
    """Centres moved as little as possible so that labels along one line do not touch.

    Least squares under order constraints (pool adjacent violators), then kept between
    ``low`` and ``high``.

    Parameters
    ----------
    centres, sizes : sequence of float
        Wanted centre and extent of each label [pt]; any order.
    low, high : float
        Ends of the line [pt].
    gap : float
        Least distance between neighbours [pt].

    Returns
    -------
    list of float
        New centres, in the order given.

    Raises
    ------
    ValueError
        The labels do not fit between ``low`` and ``high`` at all.
    """
    if not centres:
        return []
    room = sum(sizes) + gap * (len(sizes) - 1)
    if room > high - low + 1e-6:
        raise ValueError(f"{len(sizes)} labels need {room:.0f} pt, have {high - low:.0f}")
    order = sorted(range(len(centres)), key=lambda i: (centres[i], i))
    starts = [0.0]  # of each label if all stood side by side
    for n in order[:-1]:
        starts.append(starts[-1] + sizes[n] + gap)
    blocks: list[tuple[float, int]] = []  # sum of the shifts wanted, and of how many labels
    for start, n in zip(starts, order, strict=True):
        blocks.append((centres[n] - sizes[n] / 2 - start, 1))
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] >= blocks[-1][0] / blocks[-1][1]:
            (a, m), (b, k) = blocks.pop(), blocks.pop()
            blocks.append((a + b, m + k))
    shifts = [min(max(total / count, low), high - room)
              for total, count in blocks for _ in range(count)]
    found = {n: start + shift + sizes[n] / 2
             for n, start, shift in zip(order, starts, shifts, strict=True)}
    return [found[n] for n in range(len(centres))]


# Directions tried around a point: (x, y) of the label's nearest corner or edge, best first.
BESIDE = ((1, 0), (1, -1), (1, 1), (-1, 0), (-1, -1), (-1, 1), (0, -1), (0, 1))
ABOVE = ((0, -1), (0, 1), (-1, -1), (1, 1), (1, -1), (-1, 1), (1, 0), (-1, 0))


def around(points: Sequence[tuple[float, float]], sizes: Sequence[tuple[float, float]],
           bounds: TextBox, taken: Iterable[TextBox] = (),
           reach: Sequence[float] = (5.0, 9.0, 16.0, 26.0),
           directions: Sequence[tuple[int, int]] = BESIDE) -> list[TextBox | None]:
    """A box for each point's label that touches no other label, mark or taken box.

    Points that are worst off (most neighbours) are placed first. A label that finds no
    room gets None: the caller names it elsewhere, never drops it.

    Parameters
    ----------
    points : sequence of (x, y)
        Marks to label [pt, y downward].
    sizes : sequence of (width, height)
        Size of each label [pt].
    bounds : TextBox
        Labels stay inside.
    taken : iterable of TextBox
        Not to be covered.
    reach : sequence of float
        Distances from the mark to try [pt].
    directions : sequence of (x, y)
        Sides to try, best first: ``BESIDE`` or ``ABOVE``.

    Returns
    -------
    list of TextBox or None
        In the order of ``points``.
    """
    marks = [TextBox(x - 3.5, y - 3.5, x + 3.5, y + 3.5) for x, y in points]
    fixed = [*taken, *marks]
    placed: list[TextBox | None] = [None] * len(points)

    def crowd(i: int) -> int:
        x, y = points[i]
        return sum(abs(x - u) < 40 and abs(y - v) < 20 for u, v in points)

    for i in sorted(range(len(points)), key=lambda i: (-crowd(i), i)):
        (x, y), (w, h) = points[i], sizes[i]
        for distance in reach:
            box = next((b for b in _candidates(x, y, w, h, distance, directions)
                        if b.within(bounds) and not any(b.hits(o, 0.5) for o in fixed)), None)
            if box:
                placed[i] = box
                fixed.append(box)
                break
    return placed


def _candidates(x: float, y: float, w: float, h: float, distance: float,
                directions: Sequence[tuple[int, int]]) -> Iterable[TextBox]:
    for dx, dy in directions:
        off = distance if dx == 0 or dy == 0 else distance * 0.72
        left = x + off if dx > 0 else x - off - w if dx < 0 else x - w / 2
        top = y + off if dy > 0 else y - off - h if dy < 0 else y - h / 2
        yield TextBox(left, top, left + w, top + h)
