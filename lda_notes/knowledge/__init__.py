"""Knowledge that needs no patient: sources, limits and policies, gauges, supplies, unsafe abbreviations."""
