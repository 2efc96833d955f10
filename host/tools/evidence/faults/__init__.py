"""The fault matrix: causes, runs, and the page of the manual."""
