"""Every number of the firmware has one name, and is written once: read from the sources themselves.

``module.NAME`` costs nothing under MicroPython, which gets folded sources, so there is no reason for a copy.
"""

import ast
import re
from pathlib import Path

import pytest
import strokefw
from strokebench.image.modules import aliases, module_name
from strokefw import faults
from strokefw.guard import current, volts
from strokefw.link import wire

ROOT = Path(strokefw.__file__).resolve().parent
SOURCES = {
    path.relative_to(ROOT.parent).as_posix(): path.read_text("utf-8") for path in sorted(ROOT.rglob("*.py"))
}
MODULES = {module_name(path): ast.parse(text) for path, text in SOURCES.items()}
LARGE = 64
"""A number from here on that has the same name in two modules is no chance."""


def literals(tree):
    """Name to value of each whole number that a module writes down at its top."""
    found = {}
    for statement in tree.body:
        if not isinstance(statement, ast.Assign) or not isinstance(statement.targets[0], ast.Name):
            continue
        value = statement.value
        if isinstance(value, ast.Call) and getattr(value.func, "id", "") == "const":
            value = value.args[0]
        plain = (ast.Constant, ast.BinOp, ast.UnaryOp, ast.operator, ast.unaryop)
        if all(isinstance(node, plain) for node in ast.walk(value)):
            number = eval(compile(ast.Expression(value), "", "eval"))
            if type(number) is int:
                found[statement.targets[0].id] = number
    return found


def copies(modules):
    """Every constant that is written down in a second place: (module, name, module that has it too)."""
    numbers = {name: literals(tree) for name, tree in modules.items()}
    found = []
    for module, tree in modules.items():
        imported = set(aliases(tree, modules)[0].values())
        for name, value in numbers[module].items():
            for other, table in numbers.items():
                twins = [twin for twin in table if twin.lstrip("_") == name.lstrip("_")]
                same = other != module and any(table[twin] == value for twin in twins)
                if same and (abs(value) >= LARGE or (other in imported and name.startswith("_"))):
                    found.append((module, name, other))
    return found


def kernels(tree):
    """The viper functions of a module."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and "micropython.viper" in map(ast.unparse, node.decorator_list):
            yield node


def pointers(kernel, kind):
    """Names in a kernel that point to words (``ptr32``) or to a smaller ``kind``."""
    named = {arg.arg for arg in kernel.args.args if arg.annotation and ast.unparse(arg.annotation) == kind}
    for node in ast.walk(kernel):
        if isinstance(node, ast.Assign) and ast.unparse(node.value).startswith(f"{kind}("):
            named |= {ast.unparse(target) for target in node.targets}
    return named


def bare(index):
    """True for a place given by a number from 1 on, alone or in a sum, and by no constant's name."""
    if any(name.upper() == name for name in re.findall(r"[A-Za-z]\w+", ast.unparse(index))):
        return False
    if isinstance(index, ast.Constant):
        return type(index.value) is int and index.value > 0
    return isinstance(index, ast.BinOp) and (bare(index.left) or bare(index.right))


def bare_places(tree):
    """Every access to a word by a bare number, in kernels and to arrays called so elsewhere.

    Bytes and halfwords that are written one after the other may be counted on from a named place.
    """
    found = []
    for kernel in kernels(tree):
        words = pointers(kernel, "ptr32")
        small = pointers(kernel, "ptr16") | pointers(kernel, "ptr8")
        for node in ast.walk(kernel):
            if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Name):
                name, index = node.value.id, node.slice
                alone = name in small and isinstance(index, ast.Constant) and bare(index)
                if alone or (name in words and bare(index)):
                    found.append(ast.unparse(node))
    for node in ast.walk(tree):
        called = ast.unparse(node.value) if isinstance(node, ast.Subscript) else ""
        if re.search(r"^(w|s|g|c|work|counts|plan|self\.\w*(words|plan|table))$", called) and bare(
            node.slice
        ):
            found.append(ast.unparse(node))
    return found


def test_no_constant_is_written_twice():
    assert copies(MODULES) == []


@pytest.mark.parametrize("copy", ["_LIMIT = const(1000)", "_PLACE = const(3)"])
def test_a_copy_would_be_found(copy):
    source = ast.parse("LIMIT = const(10 * 100)\nPLACE = const(3)\nOTHER = const(4)")
    two = ast.parse(f"from strokefw import one\n{copy}\n_OTHER = const(5)")
    assert [found[:2] for found in copies({"one": source, "two": two}) if found[0] == "two"] == [
        ("two", copy.split()[0])
    ]


@pytest.mark.parametrize("module", MODULES)
def test_no_word_is_reached_by_a_bare_number(module):
    if module == "drive.ramp":
        assert bare_places(ast.parse("def f(self):\n    self.words[3] = w[4]")) == ["self.words[3]", "w[4]"]
    assert bare_places(MODULES[module]) == []


def test_bare_numbers_in_a_kernel_would_be_found():
    source = (
        "@micropython.viper\n"
        "def f(a: ptr32, b: ptr16, n: int):\n"
        "    r = ptr32(a[PLACE])\n"
        "    a[0] = b[n + 1] + a[n + PLACE]\n"
        "    a[7] = b[3]\n"
        "    r[n + 2] = 0\n"
    )
    assert sorted(bare_places(ast.parse(source))) == ["a[7]", "b[3]", "r[n + 2]"]


LINKED = [
    path for path in SOURCES if path.count("/") == 1 or "/link/" in path if not path.endswith("/wire.py")
]


@pytest.mark.parametrize("path", LINKED)
def test_messages_go_by_their_names(path):
    """``wire.ID["name"]``, never the number; wire.py has the table."""
    numbers = {int(digits, 16) for digits in re.findall(r"\b0x([0-9A-Fa-f]{1,2})\b", SOURCES[path])}
    assert not numbers & set(wire.NAME)


@pytest.mark.parametrize("module", [current, volts])
def test_places_in_the_codes_are_those_of_their_names(module):
    named = {name[1:]: value for name, value in vars(module).items() if hasattr(faults, name[1:])}
    assert {module.CODES[place] for place in named.values()} == set(module.CODES) - {0}
    for name, place in named.items():
        assert module.CODES[place] == getattr(faults, name), name


def test_every_named_fault_is_in_the_table():
    not_codes = ("REFUSE", "WARN", "LIMIT", "STOP", "OFF")
    named = {
        value: name
        for name, value in vars(faults).items()
        if name == name.upper() and isinstance(value, int) and name not in not_codes
        if not name.endswith("_MS")  # the lamp's
    }
    assert len(named) > 50
    for code, name in named.items():
        assert faults.row(code)[1] == name.lower()
    assert len(named) == len(faults.TABLE)
