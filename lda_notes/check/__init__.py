"""What must be recorded, what contradicts itself, what is unsafe: needs, the rule table, the report."""
