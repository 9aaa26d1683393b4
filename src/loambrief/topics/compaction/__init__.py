"""Penetrometer, density, air and water in the soil."""
