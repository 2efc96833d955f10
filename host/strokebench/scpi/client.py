"""One connection: its formats, its status, its program messages carried out in order."""

from __future__ import annotations

from strokebench.errors import StrokebenchError
from strokebench.panel.security import Doors
from strokebench.scpi import actions, answers, common
from strokebench.scpi.errors import ScpiError, command_error
from strokebench.scpi.instrument import Instrument, sentence_of
from strokebench.scpi.status import OPC, Status
from strokebench.scpi.syntax import Message, Unit
from strokebench.scpi.tree import Command, Tree, arguments

TREE = Tree((*common.COMMANDS, *actions.COMMANDS, *answers.COMMANDS))
GONE = "The client that drove went away; the part was stopped."


class Client:
    """What one client has set, and what it may ask. ``name`` is its address and port."""

    def __init__(self, instrument: Instrument, name: str, doors: Doors | None = None) -> None:
        self.instrument = instrument
        self.name = name
        self.status: Status = Status()
        self.data_format = "ASC"
        self.swapped = False
        self.percent = 0.0
        self.wants_opc = False
        self.customer = self.serial = self.note = ""
        self.allowed = doors is None
        self._doors = doors
        self._fault = instrument.now.fault
        self._said = instrument.now.message.number

    def enter(self, token: str) -> bool:
        """Let the client in for the right token; return whether it is in."""
        if self._doors is not None and not self.allowed:
            self.allowed = self._doors.enter(token, self.name.rpartition(":")[0]) is not None
        return self.allowed

    def need_lock(self) -> None:
        """Make sure that this client drives; raises -203 while another does."""
        attendance = self.instrument.attendance
        if not attendance.lock(self.name):
            raise ScpiError(-203, f"{attendance.owner} drives")

    def let_go(self, why: str = GONE) -> None:
        """Give the right to drive back; what moves is stopped before."""
        if self.instrument.attendance.owner != self.name:
            return
        if self.instrument.now.moving or self.instrument.waits_for_trigger:
            self.instrument.abort(why)
        self.instrument.attendance.unlock(self.name)

    async def execute(self, text: str) -> bytes:
        """Carry out a program message without its terminator; return the answer, empty when there is none.

        What cannot be understood ends the message (a command error); what cannot be done (an execution error)
        does not, so that a question behind it is answered.
        """
        attendance = self.instrument.attendance
        answered: list[bytes] = []
        attendance.waits(self.name, 1)
        try:
            for unit in Message(text):
                answer = await self._carry_out(TREE.find(unit), unit)
                if answer is not None:
                    answered.append(answer.encode("ascii", "replace") if isinstance(answer, str) else answer)
        except ScpiError as error:
            self.status.failed(error)
        finally:
            attendance.waits(self.name, -1)
        return b";".join(answered) + b"\n" if answered else b""

    async def _carry_out(self, command: Command, unit: Unit) -> str | bytes | None:
        """Return the answer; raise command errors alone, and keep the others."""
        try:
            given = arguments(command, unit)
            if not (self.allowed or command.free):
                raise ScpiError(-203, "send SYSTem:PASSword:CENable with the token first")
            return await command.handler(self, *given)
        except ScpiError as error:
            if command_error(error.code):
                raise
            self.status.failed(error)
            if error.code == -200:  # the bench's own sentence is in it
                self._said = self.instrument.now.message.number
        except StrokebenchError as error:  # a book that cannot be read, a profile that is gone
            self.status.failed(ScpiError(-200, str(error)))
        except Exception as error:  # a mistake of ours must not leave the client without answers for good
            self.status.failed(ScpiError(-310, repr(error)))
        return None

    def update(self) -> None:
        """Take the newest state of things into the registers; called often."""
        instrument, now = self.instrument, self.instrument.now
        self.status.operation.update(instrument.operation)
        self.status.questionable.update(instrument.questionable)
        if now.fault != self._fault:
            self._fault = now.fault
            if now.fault:
                self.status.error(now.fault, sentence_of(now.fault))
        if now.message.number != self._said:
            self._said = now.message.number
            if now.message.error and instrument.attendance.owner == self.name and not instrument.ordering:
                self.status.error(-200, f"Execution error;{now.message.text}")
        if self.wants_opc and not instrument.busy and not instrument.waits_for_trigger:
            self.wants_opc = False
            self.status.events |= OPC
