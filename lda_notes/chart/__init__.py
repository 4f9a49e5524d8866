"""Guided charting: asks for the facts of an event in the order of the work and judges each answer as it comes.

A talk (`talk`) takes an answer and gives the next question, without a terminal, whatever is filled in: an event, a visit, a
correction or a new record. `questions` has what is asked, `answers` what a typed answer means, `terminal` the session.
"""
