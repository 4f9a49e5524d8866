"""Delivering bundles to a FHIR R4 server over a network that fails: outbox, receipts, comparison.

What leaves this machine leaves it here and nowhere else.
"""
