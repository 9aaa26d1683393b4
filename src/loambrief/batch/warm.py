"""What every worker needs loaded before its first case; imported by the server they fork from."""

from __future__ import annotations

import loambrief.charts.canvas
import loambrief.pipeline
import loambrief.render.pdf


def up() -> None:
    """Read what all cases share: tables' digest and fonts come from files only once."""
    loambrief.pipeline.tables_digest()
