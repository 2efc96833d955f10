"""What only the project itself runs; it is not in the wheel. Run from the folder host: ``python -m tools.evidence.accuracy``."""
