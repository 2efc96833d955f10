"""The terminal: live view and keys."""
