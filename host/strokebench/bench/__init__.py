"""The bench as the library sees it: open it, set limits, arm, run, stop."""
