"""The job book: one SQLite file that holds every run. :mod:`strokebench.book.book` is its face."""
