"""Jobs: what a customer asked for, and the attempts. :mod:`strokebench.book.jobs.store` is the face."""
