"""In this folder a test starts no process and opens no socket and no database: it hands values in and out.

Python reports all three to audit hooks, whichever library asks for them. A hook stays for good, so
it looks at a switch that is on only while a test of this folder is set up, run and taken down.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FORBIDDEN = (
    "subprocess.Popen", "os.fork", "os.posix_spawn", "os.spawn", "os.exec", "os.system", "socket.",
    "sqlite3.connect",
)  # fmt: skip


class Watch:
    """Notes and refuses what a pure function has no use for, while it is ``on``."""

    def __init__(self) -> None:
        self.on = False
        self.seen: list[str] = []

    def __call__(self, event: str, _args: object) -> None:
        if self.on and event.startswith(FORBIDDEN):
            self.seen.append(event)
            raise RuntimeError(f"{event}: tests/unit is for pure functions; this test belongs elsewhere")


WATCH = Watch()
sys.addaudithook(WATCH)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Watch whatever a test of this folder needs, fixtures of its module too."""
    WATCH.seen.clear()
    WATCH.on = item.path.is_relative_to(HERE)
    try:
        return (yield)
    finally:
        WATCH.on = False


@pytest.fixture(autouse=True)
def refused() -> Iterator[list[str]]:
    """What was refused so far; a test that caught the refusal fails all the same."""
    yield WATCH.seen
    assert WATCH.seen == [], "tests/unit is for pure functions"
