"""Imports the formulas of every topic, so that they are registered."""

from importlib import import_module

TOPICS = {
    "acidity": ("formulas", "formulas_lime", "formulas_quality", "formulas_targets"),
    "cations": ("formulas",),
    "salinity": ("formulas", "formulas_crops", "formulas_sodicity",
                 "formulas_gypsum", "formulas_water", "formulas_water_quality",
                 "formulas_water_amendment"),
    "soil_water": ("formulas",),
    "nutrients": ("formulas", "formulas_soil_tests", "formulas_removal",
                  "formulas_micronutrients", "formulas_limits", "formulas_manure",
                  "formulas_seed_row", "formulas_toxic"),
    "carbon_nitrogen": ("formulas", "formulas_decay", "formulas_compost", "formulas_supply",
                        "formulas_credits", "formulas_guide", "formulas_nitrogen",
                        "formulas_sidedress"),
    "cover_crops": ("formulas",),
    "soil_life": ("formulas",),
    "compaction": ("formulas", "formulas_air", "formulas_cone", "formulas_water"),
    "tissue": ("formulas",),
    "refractometry": ("formulas",),
    "forage": ("formulas", "formulas_grades", "formulas_grazing", "formulas_safety"),
    "stratification": ("formulas",),
    "weeds": ("formulas", "formulas_loss"),
    "sampling": ("formulas", "formulas_error"),
    "economics": ("formulas",),
}

MODULES = tuple(import_module(f"loambrief.topics.{topic}.{name}")
                for topic, names in TOPICS.items() for name in names)
