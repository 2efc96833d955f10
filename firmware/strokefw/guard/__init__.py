"""Every limit, judged each tick: current, volts, heat, budgets."""
