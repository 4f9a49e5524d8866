"""Guided charting: asks for the facts of an event in the order of the work and judges each answer as it comes.

The core is values and functions: a `Talk` takes an answer and gives the next one, without a terminal. `session` puts
it on a terminal, `drafts` keeps what was said so far.
"""
