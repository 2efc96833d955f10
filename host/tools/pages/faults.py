"""The page of fault codes from the firmware's table: ``python -m tools.pages.faults`` writes it."""

from __future__ import annotations

from strokefw import faults

from tools import DOCS

TENS = {
    1: "Supply", 2: "Bridge", 3: "Current", 4: "Heat", 5: "Sensing", 6: "Link", 7: "Requests",
    8: "Self-test and calibration", 9: "Inside the firmware",
}  # fmt: skip
SEVERITY_MEANS = {
    "refuse": "the request is answered with the code, and nothing else happens",
    "warn": "the bench reports it on lamp, link and screen, and nothing changes",
    "limit": "the bench goes on with less drive or a slower ramp",
    "stop": "the drive goes to zero at the [slew](reference/glossary.md#slew) limit in force, then off",
    "off": "all MOSFETs off within the same tick (1 ms)",
}
HEAD = """# Fault codes

Made by `python -m tools.pages.faults` from the table in `firmware/strokefw/faults.py`. A test compares
the two. `strokebench faults` prints the same. `strokebench faults 37` prints one code.

The first digit, the tens, says in which area the fault is. The second digit, the units, says which fault it
is. The lamp on the bench shows the tens as long flashes ({long} s) and the units as short ones ({short} s),
then rests. A single blink every {alive} s means that all is well.

| severity | what the bench does |
| --- | --- |
{severities}

A fault that [**latches**](reference/glossary.md#latch) keeps the bridge off and its supply disconnected
until somebody clears it. Clearing is refused while the cause is still there. After clearing, the bench must
be [armed](reference/glossary.md#arm) again, and arming runs the [self-test](reference/glossary.md#self-test).
A fault that does not latch ends the run too, if its severity is stop or off. But then the bench can be armed
again as soon as the cause is gone. A code of severity refuse is the bench's answer when it does not do what
was asked, such as arming.

In the tables *(info)* means that `strokebench info` shows it. A *foreign voltage* is one that does not come
from the bench.
"""


def page() -> str:
    """Return the whole page as Markdown."""
    severities = "\n".join(f"| {name} | {SEVERITY_MEANS[name]} |" for name in faults.SEVERITY_NAMES)
    parts = [
        HEAD.format(
            long=faults.LONG_MS / 1000,
            short=faults.SHORT_MS / 1000,
            alive=faults.ALIVE_SLOT_MS // 1000,
            severities=severities,
        )
    ]
    for tens, title in TENS.items():
        parts.append(f"## {tens}x {title}\n")
        parts.append("| code | key | severity | latches | what it means | what to check |")
        parts.append("| --- | --- | --- | --- | --- | --- |")
        parts += [_row(row) for row in faults.TABLE if row[0] // 10 == tens]
        parts.append("")
    return "\n".join(parts)


def _row(row: tuple[int, str, int, int, str, str]) -> str:
    code, key, severity, latched, sentence, check = row
    latches = "yes" if latched else "no"
    return f"| {code} | `{key}` | {faults.SEVERITY_NAMES[severity]} | {latches} | {sentence} | {check} |"


if __name__ == "__main__":
    (DOCS / "faults.md").write_text(page(), encoding="utf-8")
