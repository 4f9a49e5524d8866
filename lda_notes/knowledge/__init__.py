"""What is known without any patient: sources, limits and policies, gauges, supplies, unsafe abbreviations."""
