"""Run the benchmarks and write docs/performance.md: ``python -m tests.bench.page``.

For figures worth quoting the machine should have nothing else to do; add ``long`` for the hour of streaming.
``python -m tests.bench.page test_book_speed.py long`` renews the part of that file only.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "performance.md"

HEAD = """# Performance

This page shows how fast the host program is, and how much memory it takes. Each row is a task that a
user waits for, such as decoding samples or opening a large job book. The figures are from one computer,
so compare them with each other and not with yours.

Written by `python -m tests.bench.page`, which runs everything in `tests/bench` once (with pytest-benchmark).
With the name of a file it renews only that file's table. Nothing here is typed in by hand. Times are medians
of whole calls. Figures of the [emulated chip](performance-chip.md) and of the [panel](performance-panel.md)
are on pages of their own. None of this was measured on a real Pico.

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


def measure(markers: str, what: str = "tests/bench") -> tuple[list[dict[str, Any]], list[tuple[str, str]]]:
    """Run the benchmarks; return pytest-benchmark's records and (test, figure) pairs; exits on a failure."""
    with tempfile.TemporaryDirectory() as folder:
        out, xml = Path(folder) / "bench.json", Path(folder) / "bench.xml"
        options = ["-q", "-n", "0", "-m", markers, "-o", "junit_family=xunit1", "--benchmark-enable"]
        options.append(f"--benchmark-json={out}")
        command = [sys.executable, "-m", "pytest", what, *options, f"--junitxml={xml}"]
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
    for file in sorted({record["fullname"].split("::")[0] for record in records}):
        parts.append(part(file, records))
    return "".join(parts).rstrip() + "\n"


def part(file: str, records: list[dict[str, Any]]) -> str:
    """Return the part of one file of benchmarks."""
    rows = "\n".join(row(record) for record in records if record["fullname"].split("::")[0].endswith(file))
    if not rows:
        sys.exit(f"Not written: no benchmark in {file} ran.")
    return TIMES.format(title=title_of(file), rows=rows)


def title_of(file: str) -> str:
    """Return the head of that part."""
    return plain(Path(file).stem).capitalize()


def renewed(text: str, file: str, records: list[dict[str, Any]]) -> str:
    """Return the page with the part of one file measured anew."""
    before, _, rest = text.partition(f"## {title_of(file)}\n")
    after = rest.partition("\n## ")
    return f"{before}{part(file, records).rstrip()}\n" + (f"\n## {after[2]}" if after[2] else "")


def main(words: list[str]) -> None:
    """Write the page."""
    markers = "" if "long" in words else "not long"
    files = [word for word in words if word.endswith(".py")]
    if not files:
        PAGE.write_text(page(*measure(markers)), encoding="utf-8")
    for file in files:
        records, _noted = measure(markers, f"tests/bench/{file}")
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), file, records), encoding="utf-8")
    print(PAGE.relative_to(ROOT))


if __name__ == "__main__":
    main(sys.argv[1:])
