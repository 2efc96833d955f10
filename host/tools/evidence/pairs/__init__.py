"""Two defects at once: which pairs, how often both are named, and the page about it."""
