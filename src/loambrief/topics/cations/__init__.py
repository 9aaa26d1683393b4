"""Exchange capacity, base saturation and the ratios read into it."""
