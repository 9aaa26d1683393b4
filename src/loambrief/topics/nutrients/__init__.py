"""Nutrients."""
