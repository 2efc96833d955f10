"""Commands about what was recorded: judge, compare, learn, report, keep."""
