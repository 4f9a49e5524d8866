"""Bundles back to records."""
