"""What a typed answer means: words, numbers, times, labels; facts on their paths."""
