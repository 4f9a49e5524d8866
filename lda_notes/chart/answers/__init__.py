"""What a typed answer means: facts on their paths, words, numbers, times, labels, kits."""
