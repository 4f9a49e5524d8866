"""Which facts are asked, together or alone, in which order, kits among them; what is known meanwhile."""
