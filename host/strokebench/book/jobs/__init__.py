"""Jobs: what a customer asked for, and the attempts to do it. :mod:`strokebench.book.jobs.store` is the face."""
