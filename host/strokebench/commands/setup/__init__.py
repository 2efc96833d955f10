"""Commands that prepare, explain or open something else."""
