"""The emulated Pico and the world at its pins."""
