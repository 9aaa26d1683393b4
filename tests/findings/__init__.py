"""Tests of the findings, topic by topic."""
