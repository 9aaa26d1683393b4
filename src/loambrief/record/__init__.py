"""What happens to an advisory once it counts: issue, supersede, withdraw, redact, export."""
