"""The page of the corpus of recordings from elsewhere."""

from __future__ import annotations

import argparse
from collections import Counter
from typing import Any

from tools.evidence.foreign.scenes import rightly_named

Record = dict[str, Any]
HEAD = """\
# Recordings from elsewhere, judged

This page counts how well the program judges recordings that come from an oscilloscope. The recordings
are simulated, in 25 file formats, without the bench's own procedure. It shows how many defects are
found, and how many good parts fail by mistake.

All parts are simulated. Made by `python -m tools.evidence.foreign.corpus --good {good} --each {each}` with
seeds from {seed} on, in the second family of parts (`host/strokebench/sim/second`). The estimators for such
recordings were made with seeds below 700 of this family. No procedure of the bench is run. Parts are moved
or switched on by hand. An oscilloscope and a current clamp, with errors of their own, record them. The
recordings are written in {dialects} file formats in turn, and judged as `strokebench judge FILE.csv` does.
Every second recording has the volts. A severe defect counts as *shown* if the recorded channels can show it
at all. The rule (`shown` in `host/tools/evidence/foreign/scenes.py`) was fixed before these seeds were
judged. *Rightly named* means that this defect fails, and no other. Earlier rounds, on seeds from 71001 and
72001, found mistakes, which were corrected on seeds below 700. How to judge your own recordings:
[recordings from other instruments](how-to/foreign-csv.md).
"""


def page(records: list[Record], args: argparse.Namespace) -> str:
    """Return the page as Markdown."""
    good = [record for record in records if record["name"] == "good"]
    shown = [record for record in records if record["shown"]]
    right = sum(map(rightly_named, shown))
    others = [record for record in records if not record["shown"] and record["name"] != "good"]
    wrong = [record for record in others if record["verdict"] == "fail" and not rightly_named(record)]
    refused = [record for record in records if record["verdict"] == "refused"]
    lines = [
        HEAD.format(
            good=args.good, each=args.each, seed=args.first_seed,
            dialects=len({record["dialect"] for record in records}),
        ),
        f"- {len(records)} recordings; refused by the reader: {len(refused)}.",
        f"- Good parts: {len(good)}; failed: {sum(record['verdict'] == 'fail' for record in good)}.",
        f"- Severe defects that are shown: {len(shown)}; rightly named: {right}"
        f" ({100 * right / max(len(shown), 1):.0f} %).",
        f"- Severe defects that are not shown: {len(others)}; given a wrong name: {len(wrong)}.",
        "",
        *_table(records),
        "",
        *_wrong(records),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _table(records: list[Record]) -> list[str]:
    lines = [
        "| part | way | good: failed | defects shown | rightly named | otherwise |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for part, way in dict.fromkeys((record["part"], record["way"]) for record in records):
        those = [record for record in records if (record["part"], record["way"]) == (part, way)]
        good = [record for record in those if record["name"] == "good"]
        shown = [record for record in those if record["shown"]]
        right = sum(map(rightly_named, shown))
        failed = sum(record["verdict"] == "fail" for record in good)
        missed = Counter(record["name"] for record in shown if not rightly_named(record))
        rest = ", ".join(f"{name} {count}" for name, count in missed.items())
        lines.append(f"| {part} | {way} | {failed} of {len(good)} | {len(shown)} | {right} | {rest} |")
    return lines


def _wrong(records: list[Record]) -> list[str]:
    wrong = Counter(
        (record["part"], record["way"], record["name"], ", ".join(record["named"]) or "no name")
        for record in records
        if record["verdict"] == "fail" and not rightly_named(record)
    )
    if not wrong:
        return []
    lines = [
        "Failed under another name:",
        "",
        "| part | way | truth | named | times |",
        "| --- | --- | --- | --- | --- |",
    ]
    return lines + [f"| {' | '.join(key)} | {count} |" for key, count in wrong.items()]
