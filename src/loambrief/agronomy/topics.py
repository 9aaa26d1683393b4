"""Imports every topic, so that every formula is registered."""

from importlib import import_module

TOPICS = (
    "acidity",
    "cations",
    "salinity",
    "nutrients",
    "carbon_nitrogen",
    "compaction",
    "refractometry",
    "forage",
    "stratification",
    "weeds",
    "sampling",
    "economics",
)

MODULES = tuple(import_module(f"loambrief.agronomy.{name}") for name in TOPICS)
