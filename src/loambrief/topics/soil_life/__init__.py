"""Soil life and structure: what the tests say, how far they differ, and what they cannot say."""
