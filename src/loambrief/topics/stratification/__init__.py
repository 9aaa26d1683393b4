"""Stratification."""
