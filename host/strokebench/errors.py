"""Every error a user can meet: one plain sentence, what to do next, and the exit code it ends with."""

from __future__ import annotations


class StrokebenchError(Exception):
    """Base of all expected errors.

    ``str(error)`` is the sentence; ``hint`` says what to do next; ``exit_code`` is the process's exit status.
    """

    exit_code = 4

    def __init__(self, sentence: str, hint: str = "") -> None:
        super().__init__(sentence)
        self.hint = hint


class UsageError(StrokebenchError):
    """The command or call itself was wrong (a part that does not exist, limits that contradict)."""

    exit_code = 2


class LinkError(StrokebenchError):
    """The bench cannot be reached, or answered with something that is not a bench."""

    exit_code = 4


class LinkLost(LinkError):
    """The bench was reached and then went away."""


class VersionMismatch(LinkError):
    """Host and firmware do not speak the same messages."""


class Refused(LinkError):
    """The bench refused a request; ``code`` is the fault or refusal code of the bench's own table."""

    def __init__(self, sentence: str, hint: str = "", code: int = 0) -> None:
        super().__init__(sentence, hint)
        self.code = code


class ChipUnavailable(StrokebenchError):
    """The compiler, the emulated chip or its image is not here; the sentence says what to install or set."""


class ProtectionTripped(StrokebenchError):
    """The bench protected itself, the part or the person, and ended the run; ``code`` names the fault."""

    exit_code = 5

    def __init__(self, sentence: str, hint: str = "", code: int = 0) -> None:
        super().__init__(sentence, hint)
        self.code = code


class Stopped(StrokebenchError):
    """Another program asked this one to stop the part (`strokebench stop`); nothing more is driven."""

    exit_code = 130


class BookError(StrokebenchError):
    """The job book or another file could not be read or written."""

    exit_code = 6


class DataError(StrokebenchError):
    """Data handed in (CSV, TOML, calibration readings) is not usable as it is."""

    exit_code = 7


class ProfileError(DataError):
    """A part profile or procedure is malformed; the sentence names file, key and allowed range."""

    exit_code = 2
