"""The limits of a part as the link carries them, by name."""

from strokefw.link import wire

FIELDS = wire.FIELDS[wire.ID["limits"]]


class Limits:
    """Attributes named like the fields of the ``limits`` message; all 0 (nothing allowed) until set."""

    def __init__(self, values=None):
        for i, name in enumerate(FIELDS):
            setattr(self, name, values[i] if values else 0)

    def values(self):
        """Return the fields in the message's order."""
        return [getattr(self, name) for name in FIELDS]
