"""Transaction bundles from a record."""
