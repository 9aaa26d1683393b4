"""All that charts are drawn with, loaded: for a server that workers are forked from."""

from loambrief.charts.registry import load_matplotlib

load_matplotlib()

import loambrief.charts.canvas  # noqa: E402
import loambrief.charts.sheet  # noqa: E402, F401
