"""A simulated fleet, and what the lake makes of it: ``python -m tools.evidence.fleet.page``."""
