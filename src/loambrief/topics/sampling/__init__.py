"""Sampling."""
