"""Salinity."""
