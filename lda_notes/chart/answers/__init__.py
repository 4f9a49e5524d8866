"""The meaning of typed answers: words, numbers, times, labels; facts on their paths."""
