"""Compaction."""
