"""Limits learnt from good parts: what they rest on, and how they are referred to a run's conditions."""
