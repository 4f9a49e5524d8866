"""Figures of speed and memory, each a ratio of two programs measured in turns: ``python -m tests.benchmarks``."""
