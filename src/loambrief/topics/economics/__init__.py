"""Prices for each unit, and the published economics of rates."""
