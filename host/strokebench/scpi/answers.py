"""Commands that answer: readings, arrays of the last run, findings and its verdict."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from strokebench.panel.strip import READINGS, Bucket
from strokebench.scpi import values
from strokebench.scpi.errors import ScpiError
from strokebench.scpi.tree import Command

if TYPE_CHECKING:
    from strokebench.scpi.client import Client

VOLTS = {
    "SUPP": "supply_v",
    "OUTA": "output_a_v",
    "OUTB": "output_b_v",
    "SENSA": "sensor_a_v",
    "SENSB": "sensor_b_v",
}
DEGREES = {"HEAT": "heatsink_c", "PART": "part_c"}
_VOLTS = values.choice("SUPPly", "OUTA", "OUTB", "SENSA", "SENSB")
_DEGREES = values.choice("HEATsink", "PART")
ROWS_MAX = 10_000_000
WORDS = {"pass": "PASS", "fail": "FAIL", "inconclusive": "INC", "info": "INFO"}
BITS = {"REAL32": 32, "REAL64": 64}


def _reading(bucket: Bucket, name: str) -> str:
    return values.real(bucket.mean[READINGS.index(name)])


async def _fetched(client: Client, name: str) -> str:
    return _reading(client.instrument.latest(), name)


async def _measured(client: Client, name: str) -> str:
    return _reading(await client.instrument.fresh(), name)


async def fetch_current(client: Client) -> str:
    """Return the newest mean current."""
    return await _fetched(client, "current_a")


async def measure_current(client: Client) -> str:
    """Return a current that was measured after the question."""
    return await _measured(client, "current_a")


async def fetch_voltage(client: Client, of: str = "SUPP") -> str:
    """Return the newest mean voltage."""
    return await _fetched(client, VOLTS[of])


async def measure_voltage(client: Client, of: str = "SUPP") -> str:
    """Return a voltage that was measured after the question."""
    return await _measured(client, VOLTS[of])


async def fetch_temperature(client: Client, of: str = "HEAT") -> str:
    """Return the newest temperature."""
    return await _fetched(client, DEGREES[of])


async def measure_temperature(client: Client, of: str = "HEAT") -> str:
    """Return a temperature that was measured after the question."""
    return await _measured(client, DEGREES[of])


async def array(client: Client, name: str, first: int = 0, count: int = ROWS_MAX) -> str | bytes:
    """Return one column of the last run's samples, in the format that FORMat chose."""
    samples = (await client.instrument.recording()).samples
    if name not in (samples.dtype.names or ()):
        raise ScpiError(-224, name)
    column = np.asarray(samples[name][first : first + count], np.float64)
    if client.data_format == "ASC":
        return values.listed(column)
    return values.block(column, BITS[client.data_format], swapped=client.swapped)


async def points(client: Client) -> str:
    """Return how many rows the last run has."""
    return str(len((await client.instrument.recording()).samples))


async def catalog(client: Client) -> str:
    """Return the keys of the last run's findings."""
    found = client.instrument.now.findings
    if not found:
        raise ScpiError(-230, "nothing has been run and judged yet")
    return ",".join(values.quoted(each.key) for each in found)


async def finding(client: Client, key: str) -> str:
    """Return a finding: value, standard uncertainty, unit, lower and upper limit, verdict, reason."""
    for each in client.instrument.now.findings:
        if each.key == key:
            numbers = [each.value, each.u, each.lower, each.upper]
            value, u, lower, upper = (
                values.real(math.nan if number is None else number) for number in numbers
            )
            words = WORDS[each.verdict.value], values.quoted(each.reason)
            return ",".join((value, u, values.quoted(each.unit), lower, upper, *words))
    raise ScpiError(-224, key)


async def verdict(client: Client) -> str:
    """Return the verdict of the last run."""
    return WORDS.get(_verdict(client), "INC")


async def limit_fail(client: Client) -> str:
    """Return 1 when the last run failed, 0 when it passed, not-a-number when nobody can know."""
    return {"pass": "0", "fail": "1"}.get(_verdict(client), values.NAN)


def _verdict(client: Client) -> str:
    now = client.instrument.now
    if not now.judged_run:
        raise ScpiError(-230, "nothing has been run and judged yet")
    return now.verdict


async def set_format(client: Client, kind: str, bits: int = 32) -> None:
    """Choose how arrays are answered."""
    if kind == "ASC":
        client.data_format = "ASC"
    elif bits in (32, 64):
        client.data_format = f"REAL{bits}"
    else:
        raise ScpiError(-224, str(bits))


async def get_format(client: Client) -> str:
    """Return how arrays are answered."""
    return "ASC,0" if client.data_format == "ASC" else f"REAL,{BITS[client.data_format]}"


async def set_border(client: Client, order: str) -> None:
    """Choose which byte of a number comes first."""
    client.swapped = order == "SWAP"


async def get_border(client: Client) -> str:
    """Return which byte of a number comes first."""
    return "SWAP" if client.swapped else "NORM"


_ARRAY = (values.integer(0, ROWS_MAX), values.integer(1, ROWS_MAX))
COMMANDS = (
    Command(
        "MEASure[:SCALar]:CURRent[:DC]",
        True,
        measure_current,
        "Current through the part, A: mean of 50 ms that begin after the question.",
    ),
    Command(
        "MEASure[:SCALar]:VOLTage[:DC]",
        True,
        measure_voltage,
        "Voltage, V, of SUPPly (default), OUTA, OUTB, SENSA or SENSB.",
        may_take=(_VOLTS,),
    ),
    Command(
        "MEASure[:SCALar]:TEMPerature",
        True,
        measure_temperature,
        "Temperature, degrees C, of HEATsink (default) or PART.",
        may_take=(_DEGREES,),
    ),
    Command("FETCh[:SCALar]:CURRent[:DC]", True, fetch_current, "The newest current, without waiting."),
    Command(
        "FETCh[:SCALar]:VOLTage[:DC]",
        True,
        fetch_voltage,
        "The newest voltage, without waiting.",
        may_take=(_VOLTS,),
    ),
    Command(
        "FETCh[:SCALar]:TEMPerature",
        True,
        fetch_temperature,
        "The newest temperature, without waiting.",
        may_take=(_DEGREES,),
    ),
    Command(
        "FETCh:ARRay",
        True,
        array,
        "A column of the last run's samples, such as 'current_a'; then first row and number of rows.",
        (values.string,),
        _ARRAY,
    ),
    Command("FETCh:ARRay:POINts", True, points, "Number of rows of the last run."),
    Command(
        "FETCh:FINDing",
        True,
        finding,
        "A finding by its key: value, standard uncertainty, unit, lower limit, upper limit, verdict, reason.",
        (values.string,),
    ),
    Command("FETCh:FINDing:CATalog", True, catalog, "Keys of the last run's findings."),
    Command("FETCh:VERDict", True, verdict, "Verdict of the last run: PASS, FAIL or INC."),
    Command(
        "CALCulate:LIMit:FAIL",
        True,
        limit_fail,
        "1: the last run failed, 0: it passed, 9.91E+37: inconclusive.",
    ),
    Command(
        "FORMat[:DATA]",
        False,
        set_format,
        "ASCii, REAL,32 or REAL,64: how arrays are answered.",
        (values.choice("ASCii", "REAL"),),
        (values.integer(0, 64),),
    ),
    Command("FORMat[:DATA]", True, get_format, "The format of arrays."),
    Command(
        "FORMat:BORDer",
        False,
        set_border,
        "NORMal: the highest byte first; SWAPped: the lowest.",
        (values.choice("NORMal", "SWAPped"),),
    ),
    Command("FORMat:BORDer", True, get_border, "The order of bytes."),
)
