"""The four ways to reach a bench, all with the same part: each yields how a client connects."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator

from strokebench.bench.bench import Bench, open_bench
from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import Status
from strokebench.link.link import Message
from strokebench.link.port import Port
from strokebench.parts import load_part
from strokebench.sim import open_port
from strokebench.sim.engine import serve

from tests.helpers.served import served

PART = "solenoid"
"""Nothing in it moves, so a bench can be armed again at once."""
WITHIN_A = {"current_max_a": 5.8, "current_mean_a": 4.8, "stall_a": 5.8, "i2t_leads_rest_a": 4.8}
"""What every bench gives, the small one too."""
LIMITS = load_part(PART).limits.model_copy(
    update={"drive_max": 0.5, "slew_per_s": 4.0, "heartbeat_s": 2.0, **WITHIN_A},
)
"""A slow slew can be told from a stop at once; a patient heartbeat from a loaded machine."""
WAIT_S = 5.0
"""Of the bench's time: far more than anything here takes."""
LOADED_S = 60.0
"""Of ours: a bench whose time stands still fails, a slow one does not."""


class Way:
    """A bench that lives as long as a file's tests; its client comes, leaves, and comes again."""

    def __init__(self, name: str, connect: Callable[[], Bench]) -> None:
        self.name = name
        self._connect = connect
        self._client: Bench | None = None

    @property
    def bench(self) -> Bench:
        """The client that is connected; a new one after :meth:`leave`."""
        if self._client is None:
            self._client = self._connect()
        return self._client

    def leave(self) -> None:
        """Close the client."""
        if self._client is not None:
            self._client.close()
            self._client = None


class Plugged:
    """A port whose closing leaves the bench behind it alone, as closing a serial line does."""

    def __init__(self, port: Port) -> None:
        self.read, self.write, self.now = port.read, port.write, port.now

    def close(self) -> None:
        """Leave it plugged in."""


@contextlib.contextmanager
def simulated(engine: str, kind: str = "reference") -> Iterator[Way]:
    """A bench with its firmware on ``engine``, in its own time."""
    name = engine if kind == "reference" else f"{engine}, {kind}"
    with contextlib.closing(open_port(SimSpec(PART, engine=engine, bench=kind))) as port:
        yield Way(name, lambda: Bench(Plugged(port), f"the bench {engine}", engine))


@contextlib.contextmanager
def serial() -> Iterator[Way]:
    """A bench in real time behind the device name of a pseudo terminal."""
    with served(serve.serve_pty, SimSpec(PART)) as name:
        yield Way("serial", lambda: open_bench(name))


def until(bench: Bench, reached: Callable[[Status], bool]) -> Status:
    """Ask for the status until it is as wanted and return it; AssertionError when it never is."""
    end_s = bench.link.port.now() + WAIT_S
    while not reached(status := bench.status()):
        assert bench.link.port.now() < end_s, f"still {status}"
    return status


def heard(bench: Bench, wanted: Callable[[Message], bool]) -> Message:
    """Listen, without a word to the bench, until it sends what is wanted; AssertionError if it never does."""
    end_s, give_up_s = bench.link.port.now() + WAIT_S, time.monotonic() + LOADED_S
    while bench.link.port.now() < end_s and time.monotonic() < give_up_s:
        for message in bench.link.poll(0.02):
            if wanted(message):
                return message
    raise AssertionError("the bench never sent it")
