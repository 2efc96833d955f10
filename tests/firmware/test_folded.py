"""What the chip gets behaves as the sources do, with constants folded and unused names left away."""

import ast

from strokebench.image.files import firmware_sources
from strokebench.image.fold import folded
from strokebench.image.names import short_names
from strokefw import faults, state


def lean(module, *others):
    """Folded module ``m`` with the given sources beside it, and a main.py that uses its ``run``."""
    files = {"strokefw/m.py": module, "main.py": "from strokefw.m import run\n"}
    files |= dict(zip(("strokefw/a.py", "strokefw/b.py"), others, strict=False))
    made = folded({name: text.encode() for name, text in files.items()})
    return {name.removeprefix("strokefw/"): text.decode() for name, text in made.items()}


def test_constants_of_other_modules_become_numbers_and_their_names_go():
    made = lean(
        "from strokefw import a\nfrom strokefw.a import Y as Z\ndef run():\n    return a.X + Z",
        "from strokefw import b\nX = const(1 << 4)\nY = b.W\nunused = 5",
        "W = const(-3)\nif 1:\n    V = 7",
    )
    assert made["m.py"] == "def run():\n    return 16 + -3"
    assert made["a.py"] == "" and "V = 7" in made["b.py"]


def test_a_local_of_the_same_name_is_left_alone():
    made = lean(
        "from strokefw import a\ndef run(a):\n    return a.X\ndef other():\n    X = 2\n    return X\nother()",
        "X = const(1)",
    )
    assert "return a.X" in made["m.py"] and "return X" in made["m.py"]


def test_what_changes_or_is_large_is_no_constant():
    made = lean("A = 1\nA = 2\nB = const(1 << 30)\ndef run():\n    return A, B")
    assert "return (A, B)" in made["m.py"]


def test_methods_and_properties_that_nothing_asks_for_go():
    made = lean(
        "class A:\n    p = word(1)\n    q = word(2)\n    def used(self):\n        return self.q\n"
        "    def idle(self):\n        return 1\n    def named(self):\n        return 2\n"
        "def run():\n    return A().used(), getattr(A(), 'named')"
    )
    assert "q = word(2)" in made["m.py"] and "p = word(1)" not in made["m.py"]
    assert "def idle" not in made["m.py"] and "def named" in made["m.py"]


def short(module, other=""):
    files = {"strokefw/m.py": module.encode(), "strokefw/o.py": other.encode(), "main.py": b"import strokefw"}
    return short_names(files)["strokefw/m.py"].decode()


def test_private_names_of_a_module_become_the_same_few():
    made = short("_first = 1\ndef _second(x):\n    return x + _first\ndef run():\n    return _second(_first)")
    assert made == "_a = 1\n\ndef _b(x):\n    return x + _a\n\ndef run():\n    return _b(_a)"


def test_a_name_that_is_more_than_a_private_one_stays():
    for module, other in (
        ("_kept = 1", "from strokefw import m\nx = m._kept"),
        ("_kept = 1", "from strokefw.m import _kept"),
        ("_kept = 1\nx = '_kept'", ""),
        ("_kept = 1\ndef f(_kept):\n    return _kept", ""),
        ("_kept = 1\ndef f():\n    _kept = 2\n    return _kept", ""),
        ("_kept = 1\nclass A:\n    _kept = 2", ""),
    ):
        assert "_kept" in short(module, other), module
    assert "_a" not in short("_private = 1\nx = 1\ndef f(_a):\n    return _private").replace("f(_a)", "")


def test_private_methods_and_attributes_become_one_short_name_each():
    made = short(
        "from strokefw.compat import keep_bound\n"
        "class A:\n"
        "    def __init__(self):\n"
        "        self._long = 1\n"
        "        keep_bound(self, '_step', 'open')\n"
        "    def _step(self):\n"
        "        return self._long\n"
        "class B(A):\n"
        "    def go(self, other):\n"
        "        return self._step() + other._long"
    )
    assert "_long" not in made and "_step" not in made
    assert "keep_bound(self, '_b', 'open')" in made and "def _b(self)" in made
    assert "return self._a" in made and "self._b() + other._a" in made


def test_an_attribute_that_others_know_stays():
    for module, other in (
        ("class A:\n    def __init__(self):\n        self._kept = 1", "def f(a):\n    return a._kept"),
        ("class A:\n    _kept = 1\n    def f(self):\n        self._kept = 2", ""),
        ("class A:\n    def _kept(self):\n        return getattr(self, '_kept')", ""),
        ("import sys\nclass A:\n    def f(self):\n        self._kept = sys.implementation._kept", ""),
    ):
        files = {"strokefw/m.py": module.encode(), "main.py": other.encode()}
        assert "_kept" in short_names(files)["strokefw/m.py"].decode(), module


def test_tables_are_worked_out():
    made = folded(firmware_sources())
    namespace: dict = {}
    exec(made["strokefw/faults.py"], namespace)
    assert namespace["SEVERITY"] == faults.SEVERITY and "TABLE" not in namespace
    exec(made["strokefw/state.py"], namespace)
    assert namespace["ALLOWED"] == state.ALLOWED
    kept = sum(len(list(ast.walk(ast.parse(text)))) for text in made.values())
    whole = sum(len(list(ast.walk(ast.parse(text)))) for text in firmware_sources().values())
    assert kept < 0.85 * whole
