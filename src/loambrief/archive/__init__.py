"""The store of issued advisories: content-addressed files, a hash-chained log, an index."""
