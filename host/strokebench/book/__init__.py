"""The job book: one SQLite file that holds every run. :mod:`strokebench.recording` is its face."""
