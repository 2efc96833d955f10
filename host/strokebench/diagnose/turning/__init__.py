"""Questions for parts that turn: pumps and fans."""
