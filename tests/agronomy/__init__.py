"""Tests of the formulas, topic by topic."""
