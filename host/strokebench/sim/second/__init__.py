"""A second family of simulated parts: the same kinds and defects, another physics.

Estimators and limits are tuned on the first family (:mod:`strokebench.sim.plants`) and judged on this one. It
shares with the first what the bench is (bridge, bus, battery, heat of a winding) and the list of defects, and
nothing of a part's own equations: solid iron with eddy currents and saturation, brushes with a drop that
depends on the current, friction with presliding, backlash, detents, soft stops, Hall sensors, pumps that
pulsate by their own count, noise with a memory, and a charger on the supply.
"""
