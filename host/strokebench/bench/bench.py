"""A bench from the outside: open it, give it a part's limits, arm it, run procedures, leave it safe."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from html import escape
from types import TracebackType
from typing import TYPE_CHECKING, Any

import numpy as np
from strokefw import channels, faults

from strokebench.bench import certificates
from strokebench.bench.accuracy import accuracy
from strokebench.bench.kinds import BOARDS, few_of, finer_of
from strokebench.bench.run import Run
from strokebench.bench.spec import SimSpec
from strokebench.bench.stream import RawStream
from strokebench.data.samples import DRIVE_ONE, TICK_S
from strokebench.errors import LinkError, Refused, Stopped, StrokebenchError, UsageError
from strokebench.link import conversion
from strokebench.link.conversion import Status, Units
from strokebench.link.holder import Holder
from strokebench.link.link import Link, Message, refusal
from strokebench.link.port import Port
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Planned, Procedure

if TYPE_CHECKING:
    from strokebench.data.run import Event

__all__ = ["BOARDS", "Bench", "Identity", "SimSpec", "open_bench"]

ARM_S = 6.0
"""Arming runs the self-test, which waits for the precharge."""
STOP_S = 0.5
STORE_S = 5.0
"""The flash takes its time, and the chip stands still meanwhile."""


@dataclass(frozen=True)
class Identity:
    """Which bench this is: as it said at the handshake. Currents in A, volts in V, heat in C.

    ``heatsink_max_c`` is 0 for a bench without a thermistor.
    """

    firmware: str
    protocol: int
    board: str
    uid: str
    calibration_id: int
    reset_cause: str
    current_max_a: float
    current_mean_a: float
    supply_min_v: float
    supply_max_v: float
    slew_per_s: float
    heatsink_max_c: float
    segments_max: int

    @property
    def calibrated(self) -> bool:
        """False for a bench that never was."""
        return self.calibration_id != 0

    @property
    def finer(self) -> int:
        """How much finer the current ranges are than those of the reference bench."""
        return finer_of(self.board)


def identity_of(welcome: Message) -> Identity:
    """Return the identity in a ``welcome``."""
    f = welcome.fields
    board, cause = f["board_kind"], f["reset_cause"]
    return Identity(
        firmware=f"{f['version_major']}.{f['version_minor']}.{f['version_patch']}",
        protocol=f["protocol"],
        board=BOARDS[board] if board < len(BOARDS) else f"board {board}",
        uid=f["uid"].hex(),
        calibration_id=f["calibration_id"],
        reset_cause=conversion.RESET_CAUSES[min(cause, len(conversion.RESET_CAUSES) - 1)],
        current_max_a=f["current_max_ma"] / 1000,
        current_mean_a=f["current_mean_ma"] / 1000,
        supply_min_v=f["supply_min_mv"] / 1000,
        supply_max_v=f["supply_max_mv"] / 1000,
        slew_per_s=f["slew_per_ms"] / DRIVE_ONE / TICK_S,
        heatsink_max_c=f["heatsink_max_dc"] / 10,
        segments_max=f["segments_max"],
    )


class Bench:
    """A bench within reach; a context manager. Leaving it, for whatever reason, de-energises the part.

    Made by :func:`open_bench`, or from any :class:`strokebench.link.port.Port`.  Methods raise
    :class:`LinkError` when the bench cannot be reached and :class:`Refused` when it will not.
    """

    def __init__(self, port: Port, name: str = "the bench", engine: str = "serial") -> None:
        self.link = Link(port, name)
        self.name = name
        self.engine = engine
        self._limits: Limits | None = None
        self._run: Run | None = None
        self._holder: Holder | None = None
        self._stop_asked = threading.Event()
        self.on_stop_request: Callable[[], object] = self._stop_for_good
        """Called, in a thread of its own, when `strokebench stop` asks for this port."""
        try:
            self.identity = identity_of(self.link.hello())
            self.calibration = self._calibration()
        except BaseException:
            self.link.close()
            raise

    def counts(self) -> tuple[int, ...]:
        """Return the newest scan as the converters saw it: counts in the order of strokefw.channels."""
        report = self.link.request("counts", answer="counts_report")
        return tuple(row[0] for row in conversion.tail_rows(report))

    def store_calibration(self, record: bytes) -> None:
        """Put a calibration record in force and keep it on the chip; refused while the part may move."""
        self.link.request("calib_write", tail=record, timeout_s=STORE_S)
        self.identity = identity_of(self.link.hello())
        self.calibration = self._calibration()

    def _calibration(self) -> bytes:
        """Return the calibration record in force; empty when the board keeps none."""
        with contextlib.suppress(Refused):
            return self.link.request("calib_read", answer="calib_record").tail
        return b""

    @property
    def units(self) -> Units:
        """What turns this bench's counts into values."""
        mine = self.identity
        return Units(self.calibration, mine.finer, few_of(mine.board))

    def set_limits(self, limits: Limits) -> dict[str, int]:
        """Put a part's limits in force and return them as the bench echoes them (mA, mV, ms, 1/10000).

        Raises :class:`UsageError` for limits beyond the bench's own, :class:`Refused` when it refuses them.
        """
        mine = self.identity
        for name, wanted, most, unit in (
            ("current_max_a", limits.current_max_a, mine.current_max_a, "A"),
            ("current_mean_a", limits.current_mean_a, mine.current_mean_a, "A"),
            ("i2t_part_rest_a", limits.i2t_part_rest_a, mine.current_mean_a, "A"),
            ("supply_max_v", limits.supply_max_v, mine.supply_max_v, "V"),
            ("slew_per_s", limits.slew_per_s, mine.slew_per_s, "per second"),
        ):
            if wanted > most:
                raise UsageError(
                    f"limits.{name} = {wanted:g} is more than the {mine.board} allows ({most:g} {unit}).",
                    f"Set it to {most:g} or less in the part's profile.",
                )
        if limits.part_thermistor and self.units.few:
            raise UsageError(
                f"limits.part_thermistor = true asks for a thermistor, which the {mine.board} does not have.",
                "Test this part on another bench: its heat has to be watched.",
            )
        if limits.supply_min_v < mine.supply_min_v:
            raise UsageError(
                f"limits.supply_min_v = {limits.supply_min_v:g} is less than the {mine.board} allows"
                f" ({mine.supply_min_v:g} V).",
                f"Set it to {mine.supply_min_v:g} or more in the part's profile.",
            )
        # leads that bear more than the bench gives bear what it gives
        leads_a = min(limits.i2t_leads_rest_a, mine.current_mean_a)
        limits = limits.model_copy(update={"i2t_leads_rest_a": leads_a})
        values = conversion.limits_values(limits)
        echo = self.link.request("limits", *values, answer="limits_in_force").fields
        self._limits = limits
        return echo

    def hold(self, port: str) -> None:
        """Let other programs of this user ask for a stop of what is driven through ``port``."""
        self._holder = Holder(port, lambda: self.on_stop_request())

    def _stop_for_good(self) -> None:
        """End a run at once; whatever drives the part afterwards raises :class:`Stopped`."""
        self._stop_asked.set()
        if self._run is not None:
            self._run.stop(now=True)

    def _look_for_stop(self) -> None:
        if self._stop_asked.is_set():
            self.stop_quietly()
            raise Stopped("`strokebench stop` stopped the part.", "Start again when you are ready.")

    def arm(self) -> None:
        """Run the self-test and close the main switch; the part may move from now on.

        Raises :class:`Refused` with the failed check, :class:`Stopped` after `strokebench stop`.
        """
        self._look_for_stop()
        try:
            self.link.request("arm", timeout_s=ARM_S)
        except Refused as error:
            if error.code != faults.FAULT_LATCHED:
                raise
            raise refusal("arm", error.code, self.status().fault) from None  # which one, and what to do

    def disarm(self) -> None:
        """Take the supply off the part."""
        self.link.request("disarm", timeout_s=ARM_S)

    def run(self, procedure: Procedure | list[Planned]) -> Run:
        """Load ``procedure``, start it and return it for iteration; see :class:`Run`.

        Raises :class:`UsageError` without limits in force, or when the procedure breaks them.
        """
        self.close_run()
        self._look_for_stop()
        if self._limits is None:
            raise UsageError("No part's limits are in force.", "Call set_limits before run.")
        if isinstance(procedure, Procedure):
            problems = procedure.problems(self._limits)
            if problems:
                raise UsageError(f"The procedure cannot be run: {problems[0]}.", "; ".join(problems[1:4]))
            procedure = procedure.plan()
        self._load(procedure)
        self.link.poll(0)  # what an earlier run left behind
        self.link.request("run")
        self._run = Run(
            self.link,
            self.units,
            procedure,
            self._limits.heartbeat_s,
            stop_now=self.stop_quietly,
            accuracy=self.accuracy(),
            info=self.info(),
        )
        if self._stop_asked.is_set():  # asked for while it began
            self._run.stop(now=True)
        return self._run

    def _load(self, plan: list[Planned]) -> None:
        self.link.request("procedure_begin", len(plan))
        for index, segment in enumerate(plan):
            self.link.request("segment", *conversion.segment_values(index, segment))

    def stop(self, *, now: bool = False) -> None:
        """Stop the part: ramped within the slew limit, or at once."""
        self.link.request("stop", int(now))

    def stop_quietly(self) -> None:
        """Stop at once and take the supply off, whatever state link and bench are in; never raises."""
        with contextlib.suppress(StrokebenchError):
            self.link.request("stop", 1, timeout_s=STOP_S)
            self.link.request("disarm", timeout_s=STOP_S)

    def close_run(self) -> None:
        """End a run whose loop was left early; the part is stopped and its supply taken off."""
        if self._run is not None:
            self._run.close()
            self._run = None

    def raw(self, channel: str = "current_coarse", rate_hz: float = 125_000) -> RawStream:
        """Begin an endless stream of single readings, also beside a run; see :class:`RawStream`.

        ``channel``: "current_coarse", "current_fine" or "supply". Raises :class:`Refused` while a burst is
        taken or sent, and when there is no memory for it.
        """
        return RawStream(self.link, self.units, channel, rate_hz)

    def jog(self, drive: float) -> None:
        """Go to ``drive`` (-1..1) and stay while this is repeated at least every 0.5 s.

        Raises :class:`Stopped` after `strokebench stop`.
        """
        self._look_for_stop()
        self.link.request("jog", round(drive * DRIVE_ONE))

    def clear(self) -> None:
        """Release a latched fault whose cause is gone."""
        self.link.request("clear")

    def sensors_v(self) -> tuple[float, float]:
        """Return the volts of both position sensor inputs now; of an open input they mean nothing, and NaN
        of one that the bench does not have.
        """
        newest = np.array(self.counts(), np.uint16)
        pair = (channels.SENSOR_A, channels.SENSOR_B)
        found = [conversion.burst_values(at, newest[at : at + 1], *self.units)[0][0] for at in pair]
        return float(found[0]), float("nan") if self.units.few else float(found[1])

    def status(self) -> Status:
        """Return what the bench measures and counts now."""
        return conversion.status_of(self.link.request("status", answer="status_report"), self.units.few)

    def selftest(self) -> list[tuple[int, ...]]:
        """Run the self-test without moving the part; return its (item, 0 or 1 if failed, value) rows.

        Raises :class:`Refused` with the first fault when it does not pass.
        """
        code, rows = self.selftest_report()
        if code and faults.SEVERITY[code] != faults.WARN:
            raise refusal("selftest", code, 0)
        return rows

    def selftest_report(self) -> tuple[int, list[tuple[int, ...]]]:
        """Run the self-test; return its fault code (0: passed) and the rows of what it came to."""
        report = self.link.request("selftest", answer="selftest_report", timeout_s=ARM_S)
        return int(report.fields["code"]), conversion.tail_rows(report)

    def events(self) -> list[Event]:
        """Return the events that the bench kept, oldest first; times are its clock since power-up."""
        report = self.link.request("events", answer="event_log")
        return [conversion.logged_event(*row) for row in conversion.tail_rows(report)]

    def identity_text(self) -> str:
        """Return what the bench says about its build, in words."""
        return self.link.request("identity", answer="identity_text").tail.decode("utf-8", "replace")

    def accuracy(self) -> dict[str, dict[str, float]]:
        """Return standard uncertainties by sample column: ``offset``, ``gain`` (relative), ``noise``."""
        mine = self.identity
        found = certificates.find(mine.uid, mine.calibration_id)
        return accuracy(mine.calibrated, found, mine.finer, few_of(mine.board))

    def info(self) -> dict[str, Any]:
        """Return what a recording keeps about the bench."""
        return {"engine": self.engine, "bench": self.name, "identity": asdict(self.identity)}

    def close(self) -> None:
        """De-energise and let go of the bench; may be called twice."""
        self.close_run()
        self.stop_quietly()
        self.link.close()
        if self._holder is not None:
            self._holder.close()

    def __enter__(self) -> Bench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __rich_repr__(self) -> Iterable[Any]:
        yield self.name
        yield "board", self.identity.board
        yield "firmware", self.identity.firmware
        yield "uid", self.identity.uid

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th>{escape(name)}</th><td>{escape(str(value))}</td></tr>"
            for name, value in {"bench": self.name, **asdict(self.identity)}.items()
        )
        return f"<table>{rows}</table>"


def open_bench(where: str | None = None, *, sim: SimSpec | None = None) -> Bench:
    """Open a bench: ``where`` a port or URL of pyserial's, ``sim`` a simulated one; neither: the only Pico.

    Raises :class:`strokebench.errors.LinkError` with a plain sentence when there is none.
    """
    if sim is not None:
        from strokebench.sim import open_port

        where_else = f", firmware on {sim.port}" if sim.port else ""
        return Bench(open_port(sim), f"simulated {sim.part}{where_else}", sim.engine)
    from strokebench.link.serial import SerialPort

    name = where or only_pico()
    bench = Bench(SerialPort(name), name)
    bench.hold(name)
    return bench


def only_pico() -> str:
    """Return the port of the one Pico that is plugged in."""
    from strokebench.link.serial import find_ports

    picos = [port.name for port in find_ports() if port.pico]
    if not picos:
        raise LinkError(
            "No bench is plugged in.", "Plug it into USB, name it with --port, or try --sim without hardware."
        )
    if len(picos) > 1:
        raise LinkError(f"Several benches are plugged in: {', '.join(picos)}.", "Name one with --port.")
    return picos[0]
