"""Recordings for other programs: CSV, MDF 4, Parquet."""
