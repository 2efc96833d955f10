"""A served bench in its own process, its bridge seen by a witness."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.helpers.process import short_profile, start
from tests.helpers.witnessed_bench import Witness


class Served:
    """``strokebench serve`` and where it is. ``part``: name of the part that it was started with."""

    def __init__(self, folder: Path, *args: object) -> None:
        self.book = folder / "served.book"
        self.process = start("serve", "--scpi-port", 0, "--json", "--book", self.book, *args, cwd=folder)
        self.tokens: list[str] = []
        assert self.process.stdout is not None
        for line in self.process.stdout:
            said = json.loads(line)
            if "resource" in said:
                self.resource = str(said["resource"])
                self.about = str(said["bench"])
                break
            self.tokens.append(said["token"])
        else:
            raise AssertionError(self.process.communicate()[1])
        self.address = self.resource.split("::")[1]
        self.port = int(self.resource.split("::")[2])

    def end(self) -> tuple[int, str]:
        """End it politely; return exit code and standard error."""
        self.process.terminate()
        try:
            _out, err = self.process.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        return self.process.returncode, err


@pytest.fixture(scope="module")
def witness(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Witness]:
    bench = Witness(tmp_path_factory.mktemp("witness"))
    yield bench
    bench.close()


@pytest.fixture(scope="module")
def served(witness: Witness, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    part = short_profile(folder, 1.0)
    running = Served(folder, "--port", witness.port, "--part", part, "--acknowledge", "--patience", "1.5")
    yield running
    code, err = running.end()
    assert (code, err) == (0, "")


@pytest.fixture
def connect(served: Served) -> Iterator[Callable[[], Any]]:
    """Opens clients of PyVISA's that are closed after the test."""
    pyvisa = pytest.importorskip("pyvisa")
    manager = pyvisa.ResourceManager("@py")
    opened = []

    def client() -> Any:
        resource = manager.open_resource(served.resource)
        resource.read_termination = "\n"
        resource.timeout = 30_000
        opened.append(resource)
        return resource

    yield client
    for resource in opened:
        resource.close()
    manager.close()
