"""Diagnosis: one module per physical question, pure functions from a run to findings."""
