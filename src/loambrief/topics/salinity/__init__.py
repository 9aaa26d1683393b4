"""Salts, sodium, gypsum, leaching and irrigation water."""
