"""Runs ticks with every sum, product and shift of the firmware checked to fit the chip's small integers.

The desktop's MicroPython has 62-bit small integers, so its heap lock cannot see a number that would need
the heap on the 32-bit chip. Here the firmware's sources are rewritten while they are imported: each
arithmetic operation passes through a check, which counts while a tick runs. Started by
test_integer_range.py as a process of its own, because the rewritten modules must not meet the others.
Prints the number of operations checked and the worst sites.
"""

import ast
import importlib.abc
import importlib.util
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
FIRMWARE = HERE.parents[1] / "firmware" / "strokefw"
LIMIT = 1 << 30

ticking = False
operations = 0
bad: dict[str, int] = {}
largest = 0


def __checked__(value, where):
    """Pass ``value`` on; note it when it is an integer out of range and a tick is running."""
    global operations, largest
    if ticking and isinstance(value, int):
        operations += 1
        largest = max(largest, abs(value))
        if not -LIMIT <= value < LIMIT:
            bad[where] = bad.get(where, 0) + 1
    return value


class Wrap(ast.NodeTransformer):
    """Rewrites ``a + b`` to ``__checked__(a + b, where)``, and ``a += b`` likewise."""

    def __init__(self, name):
        self.name = name

    def _call(self, node, line):
        where = ast.Constant(f"{self.name}:{line}")
        return ast.Call(ast.Name("__checked__", ast.Load()), [node, where], [])

    def visit_BinOp(self, node):
        """Wrap the operation, its operands included."""
        self.generic_visit(node)
        return self._call(node, node.lineno)

    def visit_AugAssign(self, node):
        """Turn it into a plain assignment of a wrapped operation."""
        self.generic_visit(node)
        load = ast.parse(ast.unparse(node.target), mode="eval").body
        return ast.Assign([node.target], self._call(ast.BinOp(load, node.op, node.value), node.lineno))


class Loader(importlib.abc.MetaPathFinder, importlib.abc.SourceLoader):
    """Finds and rewrites the modules of strokefw."""

    def find_spec(self, fullname, path=None, target=None):
        """Claim the modules of strokefw."""
        top, *inner = fullname.split(".")
        if top != "strokefw":
            return None
        folder = FIRMWARE.joinpath(*inner)
        package = (folder / "__init__.py").exists()
        file = folder / "__init__.py" if package else folder.with_suffix(".py")
        if not file.exists():
            return None
        return importlib.util.spec_from_file_location(
            fullname, file, loader=self, submodule_search_locations=[str(folder)] if package else None
        )

    def get_filename(self, fullname):
        """Return the source's path."""
        return self.find_spec(fullname).origin

    def get_data(self, path):
        """Return the source."""
        return Path(path).read_bytes()

    def source_to_code(self, data, path, *, _optimization=-1):
        """Return the rewritten code."""
        tree = Wrap(Path(path).name).visit(ast.parse(data))
        return compile(ast.fix_missing_locations(tree), path, "exec")

    def path_stats(self, path):
        """Never use a cached, unchecked module."""
        raise OSError

    def exec_module(self, module):
        """Hand the check to the module, then run it."""
        module.__checked__ = __checked__
        super().exec_module(module)


def main():
    """Run the wild ticks; exit status 1 when anything was out of range."""
    sys.dont_write_bytecode = True
    sys.meta_path.insert(0, Loader())
    sys.path.insert(0, str(HERE))
    import wild_board

    def locked(tick):
        global ticking
        ticking = True
        tick()
        ticking = False

    seen = wild_board.play(locked)
    print(f"operations {operations} largest {largest} seen {seen} out of range {bad}")
    return 1 if bad or operations < 100000 else 0


if __name__ == "__main__":
    sys.exit(main())
