"""The note of an event: what it says, without any format."""
