"""Which facts are asked, together or alone, in which order, and what is known while they are asked."""
