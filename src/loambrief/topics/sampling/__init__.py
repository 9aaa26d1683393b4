"""How far a sample speaks for its field."""
