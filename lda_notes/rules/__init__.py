"""The rules, one file per family."""
