"""Imports every topic, so that every formula is registered."""

from importlib import import_module

TOPICS = (
    "acidity",
    "cations",
    "salinity",
    "sodicity",
    "irrigation_water",
    "nutrients",
    "soil_tests",
    "removal",
    "micronutrients",
    "limits",
    "carbon_nitrogen",
    "carbon_compost",
    "carbon_supply",
    "compaction",
    "refractometry",
    "forage",
    "stratification",
    "weeds",
    "sampling",
    "economics",
)

MODULES = tuple(import_module(f"loambrief.agronomy.{name}") for name in TOPICS)
