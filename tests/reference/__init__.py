"""Plain reference formulas, each with its source, that tests compare the program with."""
