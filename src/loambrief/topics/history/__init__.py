"""Earlier cases of the field: trends, and what became of the last plan."""
