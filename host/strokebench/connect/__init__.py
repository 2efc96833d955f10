"""How a part is wired to the bench: drawn, looked at with a harmless current, and its pins found."""
