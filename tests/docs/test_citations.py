"""Files and names that DEVELOPERS.md, the manual and the sources' comments cite are there."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted(
    path for folder in ("firmware", "host", "tests", "hardware") for path in (ROOT / folder).rglob("*.py")
)
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
BASES = ("", "host", "host/strokebench", "firmware", "firmware/strokefw", "docs")
"""Folders of the repository that a cited path may be relative to, besides the citing file's own."""

FILE = re.compile(r"(?<![\w/.{<*-])((?:[\w-]+/)*[\w-]+\.py)\b(?!\w)")
FOLDER = re.compile(r"`((?:host|firmware|tests|docs|hardware)(?:/[\w-]+)+/?)`")
ROLE = re.compile(r":(?:mod|func|class|data|meth|attr|exc):`~?([\w.]+)`")
DOTTED = re.compile(r"(?<![\w/.-])((?:strokebench|strokefw|tools)(?:\.[a-z_]\w*)+(?:\.[A-Z]\w*)?)\b")
PACKAGES = ("strokebench", "strokefw", "tools")
MADE_BY_A_READER = {"boot.py", "later.py", "main.py", "sweep.py", "valves.py"}
"""Files that the manual's reader writes or finds on a chip."""
OF_OTHERS = {"serialposix.py", "serialwin32.py"}
"""Files of pyserial."""


def _names_of_files() -> set[str]:
    return {path.name for path in SOURCES} | {path.name for path in ROOT.glob("docs/**/*.py")}


def missing_file(cited: str, citing: Path) -> bool:
    """Return True when no file of the repository is meant by ``cited``, a path or a bare file name."""
    if cited in MADE_BY_A_READER | OF_OTHERS or ("/" not in cited and cited in _names_of_files()):
        return False
    return not any((base / cited).exists() for base in (citing.parent, *(ROOT / base for base in BASES)))


@cache
def missing_name(dotted: str) -> bool:
    """Return True when ``dotted`` is neither a module nor something in one."""
    module, _, rest = dotted, "", ""
    while not (file := _file_of(module)):
        module, _, last = module.rpartition(".")
        rest = f"{last}.{rest}".strip(".")
        if not module:
            return True
    return bool(rest) and not _defines(file, rest.split("."))


def _file_of(module: str) -> Path | None:
    """Return the source of a module; not imported, since the chip's modules cannot be here."""
    path = ROOT / ("firmware" if module.startswith("strokefw") else "host") / module.replace(".", "/")
    return next((file for file in (path.with_suffix(".py"), path / "__init__.py") if file.exists()), None)


@cache
def _parsed(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))


def _defines(file: Path, names: list[str]) -> bool:
    """Return True when a module, and a class in it, defines or imports what the names say."""
    scope: ast.AST | None = _parsed(file)
    for name in names:
        scope = next((node for node in ast.walk(scope) if name in _defined(node)), None) if scope else None
    return scope is not None


def _defined(node: ast.AST) -> set[str]:
    if isinstance(node, (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
        return {node.name}
    if isinstance(node, (ast.Import, ast.ImportFrom)):
        return {alias.asname or alias.name for alias in node.names}
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    return {
        part.id for target in targets if target for part in ast.walk(target) if isinstance(part, ast.Name)
    }


def _prose_of(path: Path) -> Iterator[str]:
    """Yield the docstrings (attributes' own included) and comments of a module."""
    text = path.read_text(encoding="utf-8")
    for node in ast.walk(ast.parse(text)):
        if (
            isinstance(node, ast.Expr)
            and isinstance(node.value, ast.Constant)
            and isinstance(node.value.value, str)
        ):
            yield node.value.value
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            yield token.string


def _whole(name: str, citing: Path) -> str:
    """Return the dotted name of what a docstring cites: ``Class.method`` is of its own module."""
    if name.split(".")[0] in PACKAGES:
        return name
    folder = next((ROOT / base for base in ("host", "firmware") if citing.is_relative_to(ROOT / base)), ROOT)
    return ".".join((*citing.relative_to(folder).with_suffix("").parts, name.lstrip(".")))


def _wrong_in(text: str, citing: Path) -> list[str]:
    names = {
        name for name in ROLE.findall(text) if "." in name.strip(".") and not name.startswith(".")
    } | set(DOTTED.findall(text))
    wrong = [f"file {cited}" for cited in FILE.findall(text) if missing_file(cited, citing)]
    wrong += [f"folder {cited}" for cited in FOLDER.findall(text) if not (ROOT / cited).exists()]
    return wrong + [f"name {name}" for name in sorted(names) if missing_name(name)]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_what_a_page_cites_is_there(page: Path) -> None:
    assert not _wrong_in(page.read_text(encoding="utf-8"), page)


def test_what_docstrings_and_comments_cite_is_there() -> None:
    wrong = {
        str(path.relative_to(ROOT)): found
        for path in SOURCES
        if (found := [cited for text in _prose_of(path) for cited in _wrong_in(text, path)])
    }
    assert not wrong


def test_what_is_imported_is_there() -> None:
    """Also by modules that no other test imports, and of the chip's, which cannot be imported here."""
    wrong = {
        f"{path.relative_to(ROOT)}: {node.module}.{alias.name}"
        for path in SOURCES
        for node in ast.walk(_parsed(path))
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in PACKAGES
        for alias in node.names
        if missing_name(f"{node.module}.{alias.name}")
    }
    assert not wrong


def test_what_is_not_there_is_found() -> None:
    text = "guard/nowhere.py, `tests/nowhere`, :func:`strokebench.verdict.learn.no_such`, strokebench.nowhere"
    assert _wrong_in(text, ROOT / "DEVELOPERS.md") == [
        "file guard/nowhere.py",
        "folder tests/nowhere",
        "name strokebench.nowhere",
        "name strokebench.verdict.learn.no_such",
    ]
