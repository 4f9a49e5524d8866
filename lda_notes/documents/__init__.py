"""What each document says: words, rows and alerts, without any format."""
