"""What a chart puts where: lines of text, fills and strokes with their boxes."""

from __future__ import annotations

from dataclasses import dataclass, field

from loambrief.charts import build, figure_size
from loambrief.charts.measure import text_width
from loambrief.charts.renderer import Surface, drawing, moved


@dataclass(frozen=True)
class TextBox:
    """One drawn line of text: its box in chart points, y upward from the bottom."""

    text: str
    x0: float
    y0: float
    x1: float
    y1: float
    size: float
    colour: tuple[float, float, float]

    def overlaps(self, other, slack=0.0):
        """True if the boxes share more than ``slack`` points both ways."""
        return (min(self.x1, other.x1) - max(self.x0, other.x0) > slack
                and min(self.y1, other.y1) - max(self.y0, other.y0) > slack)


@dataclass
class Drawn:
    """What was drawn: text boxes, and boxes of fills and strokes (x0, y0, x1, y1)."""

    texts: list = field(default_factory=list)
    paths: list = field(default_factory=list)

    def touching(self, slack):
        """Pairs of texts that share more than ``slack`` points both ways, from below."""
        pairs, live = [], []  # those that reach above the foot of the next
        for text in sorted(self.texts, key=lambda text: text.y0):
            live = [other for other in live if other.y1 > text.y0 + slack]
            pairs += [(o.text, text.text) for o in live if o.overlaps(text, slack)]
            live.append(text)
        return pairs


class Recorder(Surface):
    """Draws nothing, remembers where everything would lie."""

    def __init__(self):
        self.drawn = Drawn()

    def shape(self, steps, fill, pen, clip):
        points = [p for kind, *at in (clip or steps)
                  for p in zip(at[::2], at[1::2], strict=True)]
        xs, ys = zip(*points, strict=True)
        for half in ([0.0] if fill else []) + ([pen.width / 2] if pen else []):
            self.drawn.paths.append((min(xs) - half, min(ys) - half,
                                     max(xs) + half, max(ys) + half))

    def stamps(self, marker, places, fill, pen, clip):
        for x, y in places:
            self.shape(moved(marker, x, y), fill, pen, clip)

    def words(self, x, y, text, size, weight, colour, angle):
        self.drawn.texts.append(TextBox(
            text, x, y - 0.22 * size, x + text_width(text, size, weight), y + 0.74 * size, size,
            colour))


def recorded(spec, width=504.0):
    """Draw a spec; returns what was drawn, and the chart's width and height."""
    recorder = Recorder()
    recorder.put(drawing(build(spec, width)))
    return recorder.drawn, *figure_size(spec, width)
