"""The session at the terminal: what is shown, the signature, drafts, the list of the unit."""
