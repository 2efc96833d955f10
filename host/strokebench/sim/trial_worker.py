"""Trials simulated by another interpreter, such as PyPy, and judged by this one.

The other side is ``PYTHON -m strokebench.sim.trial_worker``: one trial's bench as a line of JSON in, its
recording and its plant out, pickled, behind their length. Both run the same files, and the same trial gives
the same bytes; only the time it takes differs.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import pickle
import shlex
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any, BinaryIO

from strokebench.bench.spec import SimSpec
from strokebench.errors import DataError, Refused
from strokebench.parts import load_part
from strokebench.parts.on_bench import on_bench
from strokebench.sim.trials import stroke

LENGTH_BYTES = 8


class Simulator:
    """A process that simulates one trial after the other; it is kept, because a compiler warms up."""

    def __init__(self, command: str) -> None:
        import strokefw

        import strokebench

        homes = {str(Path(str(module.__file__)).parents[1]) for module in (strokebench, strokefw)}
        self.command = command
        self._process = subprocess.Popen(
            [*shlex.split(command), "-m", "strokebench.sim.trial_worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sorted(homes))},
        )
        atexit.register(self.close)

    def stroke(self, spec: SimSpec) -> tuple[Any, Any, Any]:
        """Return run, profile and plant of ``spec``, as :func:`strokebench.sim.trials.stroke` does.

        Raises Refused as the bench does, DataError when the other interpreter fails.
        """
        assert self._process.stdin is not None and self._process.stdout is not None
        try:
            self._process.stdin.write(json.dumps(asdict(spec)).encode() + b"\n")
            self._process.stdin.flush()
            head = self._process.stdout.read(LENGTH_BYTES)
        except BrokenPipeError:
            head = b""
        if len(head) < LENGTH_BYTES:
            raise DataError(
                f"The simulator '{self.command}' ended by itself.",
                "It needs the packages numpy, pydantic, pyserial and rich; its own message stands above.",
            )
        kind, answer = pickle.loads(self._process.stdout.read(int.from_bytes(head, "little")))
        if kind == "refused":
            raise Refused(*answer)
        run, plant = answer
        board = run.info["identity"]["board"]
        return run, on_bench(load_part(spec.part), board), plant

    def close(self) -> None:
        """End the process."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()


def spec_of(values: dict[str, Any]) -> SimSpec:
    """Return the bench that ``asdict`` and JSON made these values of."""
    fields: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in values.items()
    }
    return SimSpec(**fields)


def serve(requests: BinaryIO, answers: BinaryIO) -> None:
    """Answer each line of ``requests`` until there are no more."""
    for line in requests:
        try:
            run, _profile, plant = stroke(spec_of(json.loads(line)))
            answer: tuple[str, Any] = "run", (run, plant)
        except Refused as refusal:
            answer = "refused", (str(refusal), refusal.hint, refusal.code)
        data = pickle.dumps(answer, protocol=4)
        answers.write(len(data).to_bytes(LENGTH_BYTES, "little") + data)
        answers.flush()
        if sys.implementation.name == "pypy":  # it does not see how much memory NumPy's arrays take
            gc.collect()


if __name__ == "__main__":
    serve(sys.stdin.buffer, sys.stdout.buffer)
