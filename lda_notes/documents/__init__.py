"""The contents of each document: words, rows and alerts, without any format."""
