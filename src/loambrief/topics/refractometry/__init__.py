"""Refractometry."""
