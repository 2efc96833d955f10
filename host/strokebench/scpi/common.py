"""Common commands of IEEE 488.2, and the subsystems STATus and SYSTem."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from strokebench import __version__
from strokebench.scpi import status, values
from strokebench.scpi.errors import ScpiError
from strokebench.scpi.instrument import sentence_of
from strokebench.scpi.tree import Command, Handler

if TYPE_CHECKING:
    from strokebench.scpi.client import Client

VERSION = "1999.0"


async def identity(client: Client) -> str:
    """Return maker, bench, its number, and versions."""
    bench = client.instrument.driver.identity
    if bench is None:
        return f"strokebench,no bench,0,{__version__}"
    return f"strokebench,{bench.board},{bench.uid},{__version__}/{bench.firmware}"


async def reset(client: Client) -> None:
    """Everything off, formats as at the start, limits to be chosen again."""
    client.need_lock()
    instrument = client.instrument
    if instrument.now.moving or instrument.waits_for_trigger:
        instrument.abort(f"Reset over the network by {client.name}.")
        await instrument.until(lambda: not instrument.now.moving, 2.0)
    instrument.limited = False
    instrument.trigger = "IMM"
    client.data_format, client.swapped, client.percent = "ASC", False, 0.0
    client.wants_opc = False


async def clear(client: Client) -> None:
    """Forget events and errors."""
    client.status.clear()
    client.wants_opc = False


async def self_test(client: Client) -> str:
    """Run the self-test."""
    client.need_lock()
    await client.instrument.idle()  # a question that is refused has no answer, and its client would wait
    code = await client.instrument.check()
    if code > 0:
        client.status.error(-330, f"Self-test failed;{sentence_of(code)}")
    return str(code)


async def opc(client: Client) -> None:
    """Have bit 0 of the event register set when nothing goes on any more."""
    client.wants_opc = True


async def is_complete(client: Client) -> str:
    """Wait until nothing goes on any more."""
    await client.instrument.idle()
    return "1"


async def wait(client: Client) -> None:
    """Do what follows when nothing goes on any more."""
    await client.instrument.idle()


async def set_event_enable(client: Client, mask: int) -> None:
    """Set the mask of the event register."""
    client.status.events_enable = mask


async def set_service_enable(client: Client, mask: int) -> None:
    """Set the mask of the status byte."""
    client.status.service_enable = mask & ~status.SUMMARY


def _asked(read: Callable[[Client], int]) -> Handler:
    async def answer(client: Client) -> str:
        return str(read(client))

    return answer


async def preset(client: Client) -> None:
    """Set both registers' masks and filters as at the start."""
    client.status.operation.preset()
    client.status.questionable.preset()


async def next_error(client: Client) -> str:
    """Return the oldest error."""
    return client.status.next_error()


async def all_errors(client: Client) -> str:
    """Return every error, the oldest first."""
    found = [client.status.next_error() for _ in range(max(1, client.status.errors))]
    return ",".join(found)


async def version(_client: Client) -> str:
    """Return the standard's year."""
    return VERSION


async def request_lock(client: Client) -> str:
    """Return 1 when this client may drive."""
    return str(int(client.allowed and client.instrument.attendance.lock(client.name)))


async def release_lock(client: Client) -> None:
    """Let somebody else drive; the part is let go first."""
    client.let_go("The client that drove gave the bench back.")


async def lock_owner(client: Client) -> str:
    """Return who drives."""
    return values.quoted(client.instrument.attendance.owner or "NONE")


async def enable(client: Client, token: str) -> None:
    """Give the token that the server printed."""
    if not client.enter(token):
        raise ScpiError(-203, "wrong token, or tried too soon")


def _register(name: str, of: Callable[[Client], status.Register], about: str) -> tuple[Command, ...]:
    """Return the commands of one register."""
    mask = (values.integer(0, 65535),)

    def put(attribute: str) -> Handler:
        async def handler(client: Client, bits: int) -> None:
            setattr(of(client), attribute, bits & status.ALL_BITS)

        return handler

    def both(node: str, attribute: str, what: str) -> tuple[Command, ...]:
        head = f"STATus:{name}:{node}"
        return (
            Command(head, False, put(attribute), f"Set the {what} of {about}.", mask),
            Command(
                head,
                True,
                _asked(lambda client: int(getattr(of(client), attribute))),
                f"The {what} of {about}.",
            ),
        )

    return (
        Command(
            f"STATus:{name}[:EVENt]",
            True,
            _asked(lambda client: of(client).take()),
            f"Events of {about}, then cleared.",
        ),
        Command(
            f"STATus:{name}:CONDition",
            True,
            _asked(lambda client: of(client).condition),
            f"Condition of {about}.",
        ),
        *both("ENABle", "enable", "mask"),
        *both("PTRansition", "rising", "filter for rising bits"),
        *both("NTRansition", "falling", "filter for falling bits"),
    )


_BYTE = (values.integer(0, 255),)
COMMANDS = (
    Command(
        "*IDN",
        True,
        identity,
        "Maker, bench, number of the bench, versions of program and firmware.",
        free=True,
    ),
    Command(
        "*RST",
        False,
        reset,
        "Part off, formats as at the start, limits to be chosen again. Stored runs and a latched fault stay.",
    ),
    Command("*CLS", False, clear, "Forget events and errors.", free=True),
    Command("*ESE", False, set_event_enable, "Set the mask of the event status register.", _BYTE),
    Command(
        "*ESE",
        True,
        _asked(lambda client: client.status.events_enable),
        "The mask of the event status register.",
    ),
    Command(
        "*ESR",
        True,
        _asked(lambda client: client.status.take_events()),
        "Event status register, then cleared.",
    ),
    Command("*STB", True, _asked(lambda client: client.status.byte()), "Status byte."),
    Command("*SRE", False, set_service_enable, "Set the mask of the status byte.", _BYTE),
    Command(
        "*SRE", True, _asked(lambda client: client.status.service_enable), "The mask of the status byte."
    ),
    Command("*OPC", False, opc, "Set bit 0 of the event status register when nothing goes on any more."),
    Command("*OPC", True, is_complete, "1, when nothing goes on any more."),
    Command("*WAI", False, wait, "Wait until nothing goes on any more."),
    Command("*TST", True, self_test, "Run the bench's self-test: 0 when it passed, else the fault code."),
    Command("STATus:PRESet", False, preset, "Masks and filters as at the start."),
    *_register("OPERation", lambda client: client.status.operation, "the operation register"),
    *_register("QUEStionable", lambda client: client.status.questionable, "the questionable register"),
    Command(
        "SYSTem:ERRor[:NEXT]",
        True,
        next_error,
        "The oldest error, then forgotten. Positive numbers are the bench's fault codes.",
        free=True,
    ),
    Command("SYSTem:ERRor:ALL", True, all_errors, "Every error, then forgotten.", free=True),
    Command(
        "SYSTem:ERRor:COUNt",
        True,
        _asked(lambda client: client.status.errors),
        "Number of errors.",
        free=True,
    ),
    Command("SYSTem:VERSion", True, version, "Year of the standard.", free=True),
    Command("SYSTem:LOCK:REQuest", True, request_lock, "1: this client drives from now on; 0: another does."),
    Command("SYSTem:LOCK:RELease", False, release_lock, "Let another client drive; the part is let go."),
    Command("SYSTem:LOCK:OWNer", True, lock_owner, "Address of the client that drives, or NONE."),
    Command(
        "SYSTem:PASSword:CENable",
        False,
        enable,
        "The one-time token that the server printed; only needed from other machines.",
        (values.string,),
        free=True,
    ),
)
