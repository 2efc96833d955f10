"""Kernels that a kernel calls become part of it, and it gives what it gave."""

import ast
import random
from types import SimpleNamespace

from strokebench.image.files import firmware_sources
from strokebench.image.fold import folded

PRELUDE = "from strokefw.compat import const, micropython, ptr16, ptr32\n"
MICROPYTHON = SimpleNamespace(viper=lambda function: function)


def lean(**modules):
    """Folded modules of these sources, and a main.py that uses ``run`` of module ``m``."""
    files = {f"strokefw/{name}.py": (PRELUDE + text).encode() for name, text in modules.items()}
    made = folded({**files, "main.py": b"from strokefw.m import run\n"})
    return {path.removeprefix("strokefw/"): text.decode() for path, text in made.items()}


def body(source, name="run"):
    """The statements of a function, as text."""
    found = next(n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef) and n.name == name)
    return [ast.unparse(part) for part in found.body]


def test_a_kernel_that_is_called_becomes_part_of_its_caller_and_goes():
    made = lean(
        m="from strokefw import a\n_add = a.add\n"
        "@micropython.viper\ndef run(w: ptr32) -> int:\n    x = int(_add(w, w[0] + 1))\n    return x",
        a="@micropython.viper\ndef add(v: ptr32, by: int) -> int:\n    v[1] += by\n    return v[1] - 2",
    )
    assert body(made["m.py"]) == ["_i0 = w[0] + 1", "w[1] += _i0", "x = w[1] - 2", "return x"]
    assert "def add" not in made["a.py"]


def test_early_returns_leave_a_loop_that_is_gone_through_once():
    made = lean(
        m="@micropython.viper\ndef _sign(x: int) -> int:\n    if x > 0:\n        return 1\n    return 0\n"
        "@micropython.viper\ndef run(x: int) -> int:\n    s = int(_sign(x))\n    return s"
    )
    loop = "while True:\n    if x > 0:\n        s = 1\n        break\n    s = 0\n    break"
    assert body(made["m.py"]) == [loop, "return s"]


def test_a_pointer_of_another_width_and_an_object_are_cast():
    made = lean(
        m="@micropython.viper\ndef _put(h: ptr16):\n    h[0] = 1\n"
        "@micropython.viper\ndef run(w: ptr32, rows):\n    _put(rows)\n    w[0] = 1"
    )
    assert body(made["m.py"])[:2] == ["_h0 = ptr16(rows)", "_h0[0] = 1"]


def test_what_a_merged_kernel_needs_of_its_module_comes_along():
    made = lean(
        m="from strokefw import a\n_look = a.look\n"
        "@micropython.viper\ndef run(i: int) -> int:\n    x = int(_look(i))\n    return x",
        a="TABLE = b'abc'\n@micropython.viper\ndef look(i: int) -> int:\n"
        "    t = ptr8(TABLE)\n    return t[i]",
    )
    assert "from strokefw.a import TABLE as _a_TABLE" in made["m.py"]
    assert body(made["m.py"])[0] == "_b0 = ptr8(_a_TABLE)"


def test_what_cannot_be_merged_stays_a_call():
    for callee, call in (
        ("    for i in range(3):\n        if x == i:\n            return i\n    return 9", "s = int(_f(x))"),
        ("    return x + 1", "s = int(_f(x)) + 1"),  # within an expression
        ("    return x + 1", "s = int(_f(x))\n    s = int(_f(s))"),  # twice
    ):
        made = lean(
            m=f"@micropython.viper\ndef _f(x: int) -> int:\n{callee}\n"
            f"@micropython.viper\ndef run(x: int) -> int:\n    {call}\n    return s"
        )
        assert "_f(" in "\n".join(body(made["m.py"])), call


KERNELS = """
@micropython.viper
def _clip(w: ptr32, x: int, most: int) -> int:
    if x > most:
        w[0] += 1
        x = most
    elif x < 0 - most:
        return 0 - most
    for i in range(3):
        w[i] += x & 3
    return x
@micropython.viper
def _mix(w: ptr32, a: int, b: int) -> int:
    if a & 1:
        c = int(_clip(w, a + b, 100))
        if c == 100:
            return c
        w[1] = c & 7
    return a - b
@micropython.viper
def run(w: ptr32, a: int, b: int) -> int:
    d = int(_mix(w, a, b))
    e = int(_clip(w, d, 50))
    return d * 1000 + e
"""


def run_of(source):
    space = {"micropython": MICROPYTHON, "ptr32": lambda x: x, "ptr16": lambda x: x, "const": lambda x: x}
    lines = [line for line in source.splitlines() if not line.startswith("from strokefw")]
    exec("\n".join(lines), space)
    return space["run"]


def test_the_merged_kernel_gives_and_leaves_what_the_single_ones_do():
    made = lean(m=KERNELS)["m.py"]
    assert "_mix" not in made
    plain, merged = run_of(KERNELS), run_of(made)
    chance = random.Random(5)
    for _ in range(2000):
        a, b = chance.randrange(-200, 200), chance.randrange(-200, 200)
        words = [chance.randrange(9) for _ in range(3)]
        others = list(words)
        assert plain(words, a, b) == merged(others, a, b) and words == others


def test_the_tick_is_one_kernel_but_for_new_temperatures():
    """Every call that is left costs the chip 5 to 12 us; what is left are the board's and what is rare."""
    tick = next(
        node
        for node in ast.walk(ast.parse(folded(firmware_sources())["strokefw/app.py"]))
        if isinstance(node, ast.FunctionDef) and node.name == "tick"
    )
    calls = {ast.unparse(node.func) for node in ast.walk(tick) if isinstance(node, ast.Call)}
    board = {"ticks_us", "scan", "take_trips", "estop", "drive", "feed"}
    rare = {"turn_segment", "heeded", "followed", "stopping", "checking", "open_to", "settle"}
    slow = {"turns[turn]", "turns[6]", "_sensing_sense__warm"}
    assert calls - {"int", "range", "ptr8", "ptr16", "ptr32"} == board | rare | slow
