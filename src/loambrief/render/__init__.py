"""Report model to PDF bytes."""
