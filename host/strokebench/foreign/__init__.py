"""Recordings from elsewhere: reading, columns, time grid, checks, labels."""
