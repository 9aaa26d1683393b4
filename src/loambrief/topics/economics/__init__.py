"""Economics."""
