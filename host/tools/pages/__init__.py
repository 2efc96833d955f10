"""Pages of the manual that a command writes."""
