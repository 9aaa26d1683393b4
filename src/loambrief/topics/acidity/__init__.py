"""Acidity."""
