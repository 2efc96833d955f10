"""The figures of a report: a module for each family of parts, all drawn with :mod:`.drawing`."""
