"""Imports the formulas of every topic, so that they are registered."""

from importlib import import_module
from pathlib import Path

for path in sorted(Path(__file__).parent.glob("*/formulas*.py")):
    import_module(f"loambrief.topics.{path.parent.name}.{path.stem}")
