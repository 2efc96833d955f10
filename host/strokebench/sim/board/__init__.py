"""The simulated board: bridge, converters, bursts, and what may be wrong with it."""
