"""Questions for wires under load."""
