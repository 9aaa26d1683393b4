"""What differs between the slices of a split-depth sample."""
