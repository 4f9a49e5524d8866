"""Stands here so that every test folder can import what is shared from this one, such as ``made_records``."""
