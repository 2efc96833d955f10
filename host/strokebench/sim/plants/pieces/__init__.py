"""What plants are put together from: friction, springs, windings, tracks, wires, the supply."""
