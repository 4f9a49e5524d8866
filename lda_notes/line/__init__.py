"""One line over time: corrections applied, states, due times, sums and line days."""
