"""Whether learnt limits let good parts pass and find defects, counted on simulated parts."""
