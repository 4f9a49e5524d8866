"""Checks for what is missing, contradictory or unsafe: needs, the rule table, the report."""
