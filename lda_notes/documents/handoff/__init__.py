"""The handoff sheet: what it says, without any format."""
