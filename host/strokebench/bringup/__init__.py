"""Bring-up of a new bench: step by step, with what to expect, what to do when it differs, and a record."""
