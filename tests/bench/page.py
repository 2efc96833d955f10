"""Run the benchmarks and write docs/performance.md: ``python -m tests.bench.page``.

For figures worth quoting the machine should have nothing else to do; add ``long`` for the hour of streaming.
``python -m tests.bench.page instrument`` measures test_instrument_speed.py alone and renews its table.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "performance.md"

HEAD = """# Performance

Written by `python -m tests.bench.page`, which runs everything in `tests/bench` once (with pytest-benchmark).
Given names, it renews those tables alone. Nothing here is typed in by hand. Times are medians of whole calls.
What the emulated chip and the panel need is on pages of their own. None of this was measured on a real Pico.

Measured on {machine}.

"""
TIMES = "## {title}\n\n| what | median | rounds | measured beside it |\n| --- | --- | --- | --- |\n{rows}\n\n"
FIGURES = "## Figures\n\n| test | figure |\n| --- | --- |\n{rows}\n\n"


def machine() -> str:
    """Return one line about where it ran."""
    cpu = platform.processor() or platform.machine()
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        cpu = next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{os.cpu_count()} cores, {cpu}, {platform.system()}, {python}"


def measure(
    markers: str, files: Sequence[str] = ("tests/bench",)
) -> tuple[list[dict[str, Any]], list[tuple[str, str]]]:
    """Run the benchmarks in ``files``; return pytest-benchmark's records and (test, figure) pairs.

    Exits on a failure.
    """
    with tempfile.TemporaryDirectory() as folder:
        out, xml = Path(folder) / "bench.json", Path(folder) / "bench.xml"
        options = ["-q", "-n", "0", "-m", markers, "-o", "junit_family=xunit1", "--benchmark-enable"]
        options.append(f"--benchmark-json={out}")
        command = [sys.executable, "-m", "pytest", *files, *options, f"--junitxml={xml}"]
        if subprocess.run(command, cwd=ROOT, check=False).returncode:
            sys.exit("Not written: a benchmark failed or missed its goal; see above.")
        records: list[dict[str, Any]] = json.loads(out.read_text(encoding="utf-8"))["benchmarks"]
        return records, figures(xml)


def figures(xml: Path) -> list[tuple[str, str]]:
    """Return what tests noted by ``record_property("figure", text)``, in order."""
    cases = ElementTree.parse(xml).iter("testcase")
    return [
        (plain(case.attrib["name"]), item.attrib["value"])
        for case in cases
        for item in case.iter("property")
        if item.attrib["name"] == "figure"
    ]


def plain(name: str) -> str:
    """Return a test's name as words."""
    return name.removeprefix("test_").replace("_", " ").replace("|", "/")


def seconds(value: float) -> str:
    """Return a time with a unit that reads well."""
    for limit, factor, unit in ((1e-3, 1e6, "us"), (1.0, 1e3, "ms")):
        if value < limit:
            return f"{value * factor:.3g} {unit}"
    return f"{value:.3g} s"


def row(record: dict[str, Any]) -> str:
    """Return one table row."""
    more = ", ".join(f"{plain(key)} {value}" for key, value in record["extra_info"].items())
    stats = record["stats"]
    return f"| {plain(record['name'])} | {seconds(stats['median'])} | {stats['rounds']} | {more} |"


def page(records: list[dict[str, Any]], noted: list[tuple[str, str]]) -> str:
    """Return the whole page."""
    parts = [HEAD.format(machine=machine())]
    if noted:
        parts.append(FIGURES.format(rows="\n".join(f"| {name} | {text} |" for name, text in noted)))
    parts += tables(records).values()
    return "".join(parts).rstrip() + "\n"


def tables(records: list[dict[str, Any]]) -> dict[str, str]:
    """Return each file's heading and table, by its heading."""
    made = {}
    for file in sorted({record["fullname"].split("::")[0] for record in records}):
        rows = "\n".join(row(record) for record in records if record["fullname"].startswith(file))
        title = plain(Path(file).stem).capitalize()
        made[title] = TIMES.format(title=title, rows=rows)
    return made


def renewed(text: str, made: dict[str, str]) -> str:
    """Return the page with the tables of ``made`` in the place of those with the same heading."""
    head, *sections = text.rstrip().split("\n## ")
    kept = {section.splitlines()[0]: section for section in sections}
    kept |= {title: table.removeprefix("## ").rstrip() + "\n" for title, table in made.items()}
    figures_first = sorted(kept, key=lambda title: (title != "Figures", title))
    return "\n## ".join([head, *(kept[title] for title in figures_first)]).rstrip() + "\n"


if __name__ == "__main__":
    names = [word for word in sys.argv[1:] if word != "long"]
    markers = "" if "long" in sys.argv[1:] else "not long"
    if names:
        found, _ = measure(markers, [f"tests/bench/test_{name}_speed.py" for name in names])
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), tables(found)), encoding="utf-8")
    else:
        PAGE.write_text(page(*measure(markers)), encoding="utf-8")
    print(PAGE.relative_to(ROOT))
