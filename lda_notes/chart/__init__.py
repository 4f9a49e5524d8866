"""Guided charting: asks for the facts of an event in the order of the work and judges each answer as it comes.

A talk takes an answer and gives the next question, without a terminal, whatever form it fills in: an event, a visit,
a correction or a new record. `questions` has what is asked, `answers` what an answer means, `terminal` the session.
"""
