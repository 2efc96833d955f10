"""Commands that act on the bench. All but ABORt need the right to drive, which one client has at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strokebench.panel.procedure_run import Papers
from strokebench.scpi import values
from strokebench.scpi.errors import ScpiError
from strokebench.scpi.tree import Command

if TYPE_CHECKING:
    from strokebench.scpi.client import Client


async def select(client: Client, part: str) -> None:
    """Select the part."""
    client.need_lock()
    await client.instrument.select(part)


async def selected(client: Client) -> str:
    """Return the part's name."""
    return values.quoted(client.instrument.profile().name)


async def limit_current(client: Client, current_a: float) -> None:
    """Tighten the part's peak current."""
    client.need_lock()
    await client.instrument.tighten(current_max_a=current_a)


async def current_limit(client: Client) -> str:
    """Return the peak current in force."""
    return values.real(client.instrument.profile().limits.current_max_a)


async def limit_voltage(client: Client, supply_v: float) -> None:
    """Tighten the part's highest supply."""
    client.need_lock()
    await client.instrument.tighten(supply_max_v=supply_v)


async def voltage_limit(client: Client) -> str:
    """Return the highest supply in force."""
    return values.real(client.instrument.profile().limits.supply_max_v)


async def output(client: Client, on: bool) -> None:
    """Put the supply on the part, or take it off."""
    client.need_lock()
    await client.instrument.output(on=on)


async def is_on(client: Client) -> str:
    """Return whether the supply is on the part."""
    return str(int(client.instrument.now.phase in ("armed", "jog", "run")))


async def clear(client: Client) -> None:
    """Clear the latched fault."""
    client.need_lock()
    await client.instrument.clear()


async def tripped(client: Client) -> str:
    """Return the latched fault's code."""
    now = client.instrument.now
    return str(now.fault if now.latched else 0)


async def drive(client: Client, percent: float) -> None:
    """Drive by hand."""
    client.need_lock()
    await client.instrument.drive(percent / 100)
    client.percent = percent


async def driven(client: Client) -> str:
    """Return what this client asked for last, 0 when the part is not driven by hand."""
    return values.real(client.percent if client.instrument.now.phase == "jog" else 0.0)


async def initiate(client: Client) -> None:
    """Begin the procedure."""
    client.need_lock()
    client.percent = 0.0
    await client.instrument.initiate(Papers(client.customer, client.serial, client.note))


async def trigger(client: Client) -> None:
    """Begin the procedure that waits."""
    client.need_lock()
    await client.instrument.triggered(Papers(client.customer, client.serial, client.note))


async def abort(client: Client) -> None:
    """Stop."""
    client.percent = 0.0
    client.instrument.abort(f"Stopped over the network by {client.name}.")
    if not await client.instrument.until(lambda: not client.instrument.now.moving, 1.0):
        raise ScpiError(-240, "not confirmed: use the stop button")


async def set_trigger(client: Client, source: str) -> None:
    """Choose what begins the procedure."""
    client.need_lock()
    client.instrument.trigger = source


async def get_trigger(client: Client) -> str:
    """Return what begins the procedure."""
    return client.instrument.trigger


async def set_label(client: Client, which: str, text: str) -> None:
    """Keep what the next runs' recordings say."""
    names = {"CUST": "customer", "SER": "serial", "NOTE": "note"}
    setattr(client, names[which], text)


_PERCENT = values.number("PCT", -100.0, 100.0)
_AMPS = values.number("A", 0.05, 60.0)
_VOLTS = values.number("V", 8.0, 24.0)
COMMANDS = (
    Command(
        "CONFigure[:PART]",
        False,
        select,
        "Select a part by name, in quotes; its limits come into force. Needed before anything may move.",
        (values.string,),
    ),
    Command("CONFigure[:PART]", True, selected, "Name of the selected part."),
    Command(
        "[SOURce]:CURRent:PROTection[:LEVel]",
        False,
        limit_current,
        "Tighten the part's peak current, A.",
        (_AMPS,),
    ),
    Command("[SOURce]:CURRent:PROTection[:LEVel]", True, current_limit, "Peak current in force, A."),
    Command(
        "[SOURce]:VOLTage:PROTection[:LEVel]",
        False,
        limit_voltage,
        "Tighten the highest supply, V.",
        (_VOLTS,),
    ),
    Command("[SOURce]:VOLTage:PROTection[:LEVel]", True, voltage_limit, "Highest supply in force, V."),
    Command(
        "[SOURce]:PULSe:DCYCle",
        False,
        drive,
        "Drive by hand: duty in percent, its sign is the polarity, 0 ramps down. The output must be on.",
        (_PERCENT,),
    ),
    Command("[SOURce]:PULSe:DCYCle", True, driven, "Commanded duty, percent."),
    Command(
        "OUTPut[:STATe]",
        False,
        output,
        "ON: self-test, then the supply on the part. OFF: supply off.",
        (values.boolean,),
    ),
    Command("OUTPut[:STATe]", True, is_on, "1 while the supply is on the part."),
    Command("OUTPut:PROTection:CLEar", False, clear, "Clear a latched fault."),
    Command("OUTPut:PROTection:TRIPped", True, tripped, "Code of the latched fault, 0 for none."),
    Command(
        "INITiate[:IMMediate]",
        False,
        initiate,
        "Run the part's procedure; returns at once, *OPC? waits for the verdict.",
    ),
    Command(
        "TRIGger[:SEQuence]:SOURce",
        False,
        set_trigger,
        "IMMediate, or BUS: INITiate waits for *TRG.",
        (values.choice("IMMediate", "BUS"),),
    ),
    Command("TRIGger[:SEQuence]:SOURce", True, get_trigger, "What begins the procedure."),
    Command(
        "ABORt",
        False,
        abort,
        "STOP: drive and supply off at once. Any client may send it, and it overtakes what waits.",
        free=True,
    ),
    Command(
        "SYSTem:LABel",
        False,
        set_label,
        "CUSTomer, SERial or NOTE, then a text: what the next runs' recordings say.",
        (values.choice("CUSTomer", "SERial", "NOTE"), values.string),
    ),
    Command("*TRG", False, trigger, "Begin the procedure that waits for it."),
)
