"""Questions for solenoid valves: inductance, pull-in, drop-out, opening against duty."""
