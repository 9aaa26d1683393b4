"""Loambrief: field and lab evidence in, a priced and ranked crop and soil advisory out."""

__version__ = "0.7.1"
