"""Soil pH, lime requirement, lime products, aluminum, and acidifying."""
