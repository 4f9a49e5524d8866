"""Sentences that name their facts, or are not written."""
