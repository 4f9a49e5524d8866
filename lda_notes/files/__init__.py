"""Bytes in and out: YAML and JSON with the place of every value, private output, locks, the files of the package."""
