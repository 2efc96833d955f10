"""The board on the Pico. Nothing else touches machine and rp2."""
