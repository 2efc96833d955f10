"""Commands that reach a bench."""
