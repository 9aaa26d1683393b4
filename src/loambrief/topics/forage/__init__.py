"""Forage."""
