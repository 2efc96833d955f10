"""A router of tracks on a grid: every net may cross others at first, crossings get dearer until none is left."""
