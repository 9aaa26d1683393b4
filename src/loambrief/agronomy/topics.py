"""Imports every topic, so that every formula is registered."""

from importlib import import_module

TOPICS = (
    "acidity",
    "acidity_lime",
    "acidity_quality",
    "acidity_targets",
    "cations",
    "salinity",
    "salinity_crops",
    "sodicity",
    "sodicity_gypsum",
    "irrigation_water",
    "irrigation_quality",
    "nutrients",
    "soil_tests",
    "removal",
    "micronutrients",
    "limits",
    "carbon_nitrogen",
    "carbon_decay",
    "carbon_compost",
    "carbon_supply",
    "compaction",
    "compaction_air",
    "compaction_cone",
    "compaction_water",
    "refractometry",
    "forage",
    "forage_grades",
    "forage_safety",
    "stratification",
    "weeds",
    "weeds_loss",
    "sampling",
    "sampling_error",
    "economics",
)

MODULES = tuple(import_module(f"loambrief.agronomy.{name}") for name in TOPICS)
