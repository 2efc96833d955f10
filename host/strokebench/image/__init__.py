"""What goes onto a real chip: folded sources, compiled files, writing them."""
