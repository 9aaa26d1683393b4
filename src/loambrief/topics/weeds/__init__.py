"""Weeds as signs, and what they cost."""
