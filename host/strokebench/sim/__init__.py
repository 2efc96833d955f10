"""Simulated benches: plants with faults to inject, simulated boards, and the ways to run the firmware on
them.
"""
