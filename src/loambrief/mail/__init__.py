"""Letters to clients: composed from finished advisories, kept as files, sent when asked."""
