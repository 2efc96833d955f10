"""A router on a grid: nets may cross each other at first, and crossings get dearer until none is left."""
