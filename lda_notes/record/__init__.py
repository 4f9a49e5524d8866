"""The record of one stay: its vocabulary, parts, events and episode; how it is read, described and written."""
