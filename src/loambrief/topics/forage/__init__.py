"""Hay and forage quality, and what may harm stock."""
