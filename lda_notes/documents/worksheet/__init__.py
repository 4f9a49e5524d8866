"""The page to take to the bedside: what it says, without any format."""
