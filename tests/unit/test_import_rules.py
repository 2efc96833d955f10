"""Who may import whom: the arrows of docs/architecture.md, read from the source itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOST = ROOT / "host" / "strokebench"
FIRMWARE = ROOT / "firmware"

HARDWARE_MODULES = {"machine", "rp2", "_rp2", "rp2040", "uctypes"}

# room -> host modules it must never import (prefix match on dotted names)
FORBIDDEN = {
    "diagnose": ("sim", "bench", "link", "cli", "commands", "panel", "report", "recording", "book"),
    "judge": ("sim", "bench", "link", "cli", "commands", "panel", "report"),
    "report": ("sim", "bench", "link", "cli", "commands", "panel"),
    "book": ("sim", "bench", "link", "cli", "commands", "panel", "report", "diagnose"),
    "recording": ("sim", "bench", "link", "cli", "commands", "panel", "report", "diagnose"),
    "physics": ("sim", "bench", "link", "cli", "commands", "panel", "report", "diagnose", "book"),
    "lessons": ("cli", "commands", "panel"),
    "bench": ("cli", "commands", "panel", "report", "diagnose", "judge", "book", "recording"),
    "link": ("sim", "bench", "cli", "commands", "panel", "report", "diagnose", "judge", "book", "recording"),
    "procedure": ("sim", "bench", "link", "cli", "commands", "panel", "report", "diagnose"),
    "parts": ("sim", "bench", "link", "cli", "commands", "panel", "report", "diagnose"),
}


def _imports(path: Path) -> set[str]:
    names: set[str] = set()
    package = _package_of(path)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parent = package[: len(package) - node.level + 1]
                base = ".".join([*parent, base] if base else parent)
            names.add(base)
            names |= {f"{base}.{alias.name}" for alias in node.names}
    return names


def _package_of(path: Path) -> list[str]:
    for top, name in ((HOST, "strokebench"), (FIRMWARE / "strokefw", "strokefw")):
        if path.is_relative_to(top):
            return [name, *path.relative_to(top).parent.parts]
    return []


def _files(*rooms: str) -> list[Path]:
    found: list[Path] = []
    for room in rooms:
        found += [HOST / f"{room}.py"] if (HOST / f"{room}.py").exists() else []
        found += sorted((HOST / room).rglob("*.py")) if (HOST / room).is_dir() else []
        found += sorted(HOST.glob(f"{room}_*.py"))
    return found


def _touches(name: str, target: str) -> bool:
    full = f"strokebench.{target}"
    return name == full or name.startswith(full + ".")


@pytest.mark.parametrize("room", sorted(FORBIDDEN))
def test_room_imports_only_downwards(room: str) -> None:
    files = _files(room)
    assert files, f"no file of the room {room}"
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files
        for name in sorted(_imports(path))
        for target in FORBIDDEN[room]
        if _touches(name, target)
    ]
    assert not wrong, wrong


def test_firmware_never_imports_the_host() -> None:
    files = sorted(FIRMWARE.rglob("*.py"))
    assert files
    wrong = [f"{p.name}: {n}" for p in files for n in _imports(p) if n.split(".")[0] == "strokebench"]
    assert not wrong, wrong


def test_only_the_pico_board_touches_the_chip() -> None:
    wrong = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in sorted((FIRMWARE / "strokefw").rglob("*.py"))
        if path.parent.name != "pico"
        for name in _imports(path)
        if name.split(".")[0] in HARDWARE_MODULES
    ]
    assert not wrong, wrong


def test_simulator_is_imported_by_the_library_only_when_asked_for() -> None:
    """bench*.py may import sim, but only inside a function: `import strokebench.bench.bench` must not load it."""
    wrong = []
    for path in [p for p in _files("bench") if p.parent == HOST]:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = {node.module or ""} if isinstance(node, ast.ImportFrom) else set()
            names |= {a.name for a in node.names} if isinstance(node, ast.Import) else set()
            names.discard("strokebench.bench.spec")  # only says what can be asked for
            wrong += [f"{path.name}: {n}" for n in names if _touches(n, "sim")]
    assert not wrong, wrong


def test_the_rule_itself_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("def f():\n    from strokebench.sim import plants\n", encoding="utf-8")
    assert any(_touches(name, "sim") for name in _imports(bad))
