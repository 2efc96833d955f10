"""What the bridge shall do: segments of a procedure, jogging, ramps within the slew limit."""
