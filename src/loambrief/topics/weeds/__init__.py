"""Weeds."""
