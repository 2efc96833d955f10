"""One physical model of a motor that moves something between two stops, fitted to whatever samples there are.

:func:`strokebench.diagnose.moving.fit.mover.fit_mover` takes arrays (time, volts, current, position) and
returns parameters with their covariance; no labels and no procedure are needed. The choice of the method:
docs/decisions/fit-movers.md.
"""
