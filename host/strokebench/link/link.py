"""Requests and answers over a port: numbered, checked, timed out, never repeated by themselves."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from strokefw import faults
from strokefw.link import wire

from strokebench.errors import LinkError, LinkLost, Refused, VersionMismatch
from strokebench.link.port import Port

ANSWER_S = 3.0
"""How long the bench may take to answer a request: it takes ms, the rest is for a loaded computer."""
HELLO_S = 0.6
HELLO_TRIES = 3
MOST_WAITING = 20_000
"""Messages that may wait to be taken: minutes of a run."""


class Message(NamedTuple):
    """One checked message: its name, the fields by name, and raw tail bytes (rows, text) if it has any."""

    name: str
    fields: dict[str, Any]
    tail: bytes = b""


def fault_row(code: int) -> tuple[str, str, str]:
    """Return (key, sentence, what to check) of a fault code, also for one this program does not know."""
    row = faults.row(code)
    if row is None:
        return f"unknown_{code}", f"The bench reports code {code}.", "Firmware and program differ in version."
    return row[1], row[4], row[5]


def open_message(kind: int, body: bytes) -> Message:
    """Return the message in a frame's body; :class:`VersionMismatch` when it does not fit our table."""
    try:
        values = wire.unpack(kind, body)
    except wire.WireError as error:
        raise VersionMismatch(
            f"The bench sent a message this program does not know ({error}).",
            "Use firmware and program of the same release.",
        ) from None
    names = wire.FIELDS[kind]
    tail = values[len(names)] if wire.TAIL[kind] else b""
    return Message(wire.NAME[kind], dict(zip(names, values, strict=False)), tail)


class Link:
    """One bench at the other end of ``port``.

    ``request`` sends and waits for the one answer that carries its number; what arrives in between is kept
    for ``poll``.  Nothing is sent twice: after a timeout nobody knows whether the bench acted.
    ``lost_messages`` counts gaps in the bench's running number, ``bad_frames`` what failed its check.
    """

    def __init__(self, port: Port, name: str = "the bench") -> None:
        self.port = port
        self.name = name
        self.lost_messages = 0
        self._decoder = wire.Decoder()
        self._seq = 0
        self._bench_seq: int | None = None
        self._inbox: list[Message] = []
        self.raw: list[Message] = []  # of an endless stream; whoever reads it takes from here
        self._awaited = 0  # no request has this number
        self._given: Message | None = None
        self.sent_s = 0.0

    @property
    def bad_frames(self) -> int:
        """Frames that failed their check so far."""
        return int(self._decoder.bad_frames)

    def hello(self) -> Message:
        """Shake hands and return the bench's ``welcome``.

        Raises :class:`LinkError` when nothing or no bench answers, :class:`VersionMismatch` when it speaks
        another version.  Asking again is harmless here: a hello moves nothing.
        """
        self.port.write(b"\0")  # ends whatever half frame an earlier program left
        heard = 0
        for _ in range(HELLO_TRIES):
            seq = self._send("hello", (wire.PROTOCOL,))
            deadline_s = self.port.now() + HELLO_S
            while (left_s := deadline_s - self.port.now()) > 0:
                data = self.port.read(left_s)
                heard += len(data)
                for kind, number, body in self._decoder.feed(data):
                    if kind == wire.ID["welcome"]:
                        return _welcome(body)
                    if kind == wire.ID["reply"] and number == seq:
                        _refuse_version(open_message(kind, body).fields["result"])
        raise self._no_bench(heard)

    def _no_bench(self, heard: int) -> LinkError:
        if heard:
            return LinkError(
                f"What answers at {self.name} is not a bench.",
                "Choose another port (`strokebench ports`), or put the firmware on it.",
            )
        return LinkError(
            f"Nothing answers at {self.name}.",
            "Is the bench powered and its firmware running? `strokebench ports` lists what is there.",
        )

    def request(
        self, name: str, *values: int, tail: bytes = b"", timeout_s: float = ANSWER_S, answer: str = "reply"
    ) -> Message:
        """Send request ``name`` with its field values in order and return its answer.

        Raises :class:`Refused` with the bench's sentence when the bench refuses, :class:`LinkLost` when no
        answer came within ``timeout_s``; the request is not repeated.
        """
        message = self._answer(self._send(name, values, tail), name, timeout_s)
        if message.name == "reply" and message.fields["result"]:
            raise refusal(name, message.fields["result"], message.fields["detail"])
        if message.name != answer:
            raise VersionMismatch(f"The bench answered {name!r} with {message.name!r}.", "Update both.")
        return message

    def _answer(self, seq: int, name: str, timeout_s: float) -> Message:
        """Wait for the answer to ``seq``. Afterwards none is awaited: numbers come round again."""
        deadline_s = self.port.now() + timeout_s
        self._awaited, self._given = seq, None
        try:
            while self._given is None:
                left_s = deadline_s - self.port.now()
                if left_s <= 0:
                    raise LinkLost(
                        f"The bench did not answer {name!r} within {timeout_s:g} s.",
                        "Unplug it from USB and the supply, plug it in again; the bench stops by itself.",
                    )
                self._receive(left_s)
            return self._given
        finally:
            self._awaited = 0

    def poll(self, timeout_s: float) -> list[Message]:
        """Return the messages that came unasked, waiting up to ``timeout_s`` if there is none yet."""
        if not self._inbox:
            self._receive(timeout_s)
        taken, self._inbox = self._inbox, []
        return taken

    def poll_raw(self, timeout_s: float) -> list[Message]:
        """Return the messages of an endless stream, waiting up to ``timeout_s``; `poll` has the others."""
        if not self.raw:
            self._receive(timeout_s)
        taken, self.raw = self.raw, []
        return taken

    def tell(self, name: str, *values: int) -> None:
        """Send a request without waiting; its answer is dropped (heartbeat, last-moment stop)."""
        self._send(name, values)

    def close(self) -> None:
        """Close the port."""
        self.port.close()

    def _send(self, name: str, values: Iterable[int], tail: bytes = b"") -> int:
        self._seq = self._seq % 255 + 1
        kind = wire.ID[name]
        self.port.write(wire.frame(kind, self._seq, wire.pack(kind, *values, tail=tail)))
        self.sent_s = self.port.now()
        return self._seq

    def _receive(self, timeout_s: float) -> None:
        for kind, seq, body in self._decoder.feed(self.port.read(timeout_s)):
            if kind in wire.UNSOLICITED:
                self._count_loss(seq)
                message = open_message(kind, body)
                waiting = self.raw if message.name == "raw_data" else self._inbox
                waiting.append(message)
                if len(waiting) > MOST_WAITING:
                    waiting.clear()
                    raise LinkError(
                        f"The bench at {self.name} talks without end.", "Unplug it, plug it in again."
                    )
            elif seq == self._awaited:
                self._given = open_message(kind, body)

    def _count_loss(self, seq: int) -> None:
        if self._bench_seq is not None:
            self.lost_messages += (seq - self._bench_seq - 1) % 256
        self._bench_seq = seq


def refusal(name: str, code: int, detail: int) -> Refused:
    """Return the error for a request that the bench refused."""
    _key, sentence, check = fault_row(code)
    about = ""
    if code in (faults.FAULT_LATCHED, faults.NOT_NOW) and faults.row(detail) is not None:
        about = f" Cause: {fault_row(detail)[1]}"
        check = f"{fault_row(detail)[2]} Then `strokebench clear`, and try again."
    return Refused(f"The bench refused {name!r}: {sentence}{about} (code {code}, {detail})", check, code)


def _welcome(body: bytes) -> Message:
    """Open a welcome, comparing versions first: its layout may change, its first bytes never."""
    if len(body) < 9:
        raise VersionMismatch(
            "The bench's greeting is too short for one.", "Put this release's firmware on the bench."
        )
    protocol, table = int.from_bytes(body[:2], "little"), int.from_bytes(body[2:6], "little")
    version = ".".join(str(number) for number in body[6:9])
    if protocol != wire.PROTOCOL:
        age = "older" if protocol < wire.PROTOCOL else "newer"
        raise VersionMismatch(
            f"The bench's firmware {version} is {age} than this program"
            f" (protocol {protocol}, here {wire.PROTOCOL}).",
            _update("bench" if age == "older" else "program"),
        )
    if table != wire.TABLE_HASH:
        raise VersionMismatch(
            f"The bench's firmware {version} has another message table than this program"
            f" ({table:08x}, here {wire.TABLE_HASH:08x}).",
            _update("bench"),
        )
    return open_message(wire.ID["welcome"], body)


def _refuse_version(protocol: int) -> None:
    raise VersionMismatch(
        f"The bench refuses this program's protocol {wire.PROTOCOL}; it speaks {protocol}.", _update("bench")
    )


def _update(what: str) -> str:
    return "Put this release's firmware on the bench." if what == "bench" else "Update strokebench here."
