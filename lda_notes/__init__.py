"""lda-notes: records of implanted-port access events, checked and rendered."""

__version__ = "0.1.0"
