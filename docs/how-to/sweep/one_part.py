"""Stroke one part and judge it: the worker of the sweep in ``sweep.ipynb``.

It stands in a file of its own so that other processes can import it, on every system.
"""

from __future__ import annotations

from typing import Any

from strokebench import SimSpec, open_bench
from strokebench.book.book import Book
from strokebench.errors import Refused
from strokebench.parts import load_part
from strokebench.session import record
from strokebench.verdict import root_cause
from strokebench.verdict.examine import examine


def stroke_and_judge(spec: SimSpec, serial: str, book: str) -> dict[str, Any]:
    """Run the part's own procedure into ``book`` and return what a table needs, one row.

    For real parts, take the port's name instead of ``spec``: ``open_bench("COM5")``. Findings that could
    not be known are left out. A bench that refuses to switch the supply on has found something, too.
    """
    profile = load_part(spec.part)
    row: dict[str, Any] = {"serial": serial}
    try:
        with Book(book) as opened, open_bench(sim=spec) as bench:
            bench.set_limits(profile.limits)
            bench.arm()
            writer = opened.new_run(
                profile.name,
                profile.kind,
                part_serial=serial,
                info=bench.info(),
                accuracy=bench.accuracy(),
                profile=profile.model_dump(mode="json", exclude_none=True),
            )
            with writer:
                data = record(bench, profile, writer)
            findings, verdict = examine(data, profile)
            opened.judged(writer.run_id, findings, verdict.value)
    except Refused as refusal:
        return row | {"verdict": "fail", "cause": f"not driven, code {refusal.code}", "findings": {}}
    known = {finding.key: (finding.value, finding.u) for finding in findings if finding.known}
    return row | {"verdict": verdict.value, "cause": root_cause(findings), "findings": known}
