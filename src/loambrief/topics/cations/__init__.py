"""Cations."""
