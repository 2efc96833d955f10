"""Where the numbers of a bench are while its compiled code runs: two long arrays, integers and floats.

A place belongs to an attribute of an object, to an array of the firmware, to a table or to a list that grows.
``take`` copies what may have changed from the objects, ``give`` what the code may have changed back to them.
"""

from __future__ import annotations

import ctypes
import math
import sys
from array import array
from collections.abc import Callable
from dataclasses import is_dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.fast.values import Growing, NotFlat, is_number, rows_of

ROOM = 4096
"""Places for an array that is still empty; it may be replaced by one of up to this length."""
NODES_MAX = 64
TRAP = 0
"""The first integer: not 0 when the code went where it must not."""
CALLED = {
    name: place
    for place, name in enumerate(("exp", "log", "sin", "cos", "tan", "tanh", "atan", "fmod"), TRAP + 1)
}
"""Functions of the C library -> the place of their address."""
DTYPES = {"i": np.int32, "H": np.uint16, "B": np.uint8, "h": np.int16, "b": np.int8}


@cache
def c_address(name: str) -> int:
    """Return the address of a function of the C library, the same that Python's ``math`` calls."""
    library = _c_library()
    made = ctypes.CFUNCTYPE(ctypes.c_double, *([ctypes.c_double] * (2 if name == "fmod" else 1)))
    function = made((name, library))
    for x in (0.3, 0.7071, 1.9, 2.00001):
        given = (x, 0.7) if name == "fmod" else (x,)
        if function(*given) != getattr(math, name)(*given):
            raise NotFlat(f"this computer has two functions {name}")
    return int(ctypes.cast(getattr(library, name), ctypes.c_void_p).value or 0)


def _c_library() -> ctypes.CDLL:
    try:
        return ctypes.CDLL({"win32": "ucrtbase", "linux": "libm.so.6"}.get(sys.platform))
    except OSError:  # where it is no library of its own
        return ctypes.CDLL(None)


def fixed(thing: Any) -> bool:
    """True for an object whose attributes never change."""
    return is_dataclass(thing) and bool(type(thing).__dataclass_params__.frozen)  # type: ignore[union-attr]


class Attributes:
    """The attributes of one object that the code uses: numbers (name -> place) and known objects."""

    def __init__(self, thing: Any) -> None:
        self.thing = thing
        self.fixed = fixed(thing)
        self.ints: dict[str, int] = {}
        self.floats: dict[str, int] = {}
        self.flags: set[str] = set()
        self.lists: dict[str, Growing] = {}
        self.arrays: dict[str, LiveArray] = {}
        self.written: set[str] = set()
        self.known: dict[str, Any] = {}
        self.methods: set[str] = set()

    @property
    def only_numbers(self) -> bool:
        """Whether nothing but numbers and methods of the object are used: another of its class may take its
        place."""
        return not (self.fixed or self.lists or self.arrays or self.known)


class LiveArray:
    """An array that both sides use; ``room`` places from ``base`` on."""

    def __init__(self, base: int, thing: Any, room: int) -> None:
        self.base, self.room = base, room
        self.written = False
        self.code = thing.typecode if isinstance(thing, array) else memoryview(thing).format
        self.place = 0
        self.thing: Any = None
        self.put(thing)

    def put(self, thing: Any) -> None:
        """Use another array in its place."""
        self.thing = thing
        if not len(thing):
            self.view: NDArray[Any] = np.zeros(0, np.int32)
            return
        self.view = np.frombuffer(thing, DTYPES[self.code])


class Memory:
    """Places for everything that a piece of flattened code uses."""

    def __init__(self) -> None:
        self.int_count, self.float_count = 1 + len(CALLED), 0
        self.owners: dict[int, Attributes] = {}
        self.arrays: dict[int, LiveArray] = {}
        self._tables: dict[int, tuple[Any, str, int, int]] = {}
        self._shapes: dict[int, tuple[Any, tuple[str, int] | None]] = {}

    # -- while code is flattened -----------------------------------------------------------------------------

    def owner(self, thing: Any) -> Attributes:
        """Return what is used of ``thing``."""
        return self.owners.setdefault(id(thing), Attributes(thing))

    def _new(self, memory: str, count: int) -> int:
        if memory == "i":
            self.int_count += count
            return self.int_count - count
        self.float_count += count
        return self.float_count - count

    def number(self, thing: Any, name: str, written: bool = False) -> tuple[str, int]:
        """Return memory and place of an attribute that is a number."""
        owner, value = self.owner(thing), getattr(thing, name)
        if not is_number(value):
            raise NotFlat(f"{type(thing).__name__}.{name} is no number now but gets one")
        if written:
            owner.written.add(name)
        memory, places = ("f", owner.floats) if isinstance(value, float) else ("i", owner.ints)
        if name not in places:
            places[name] = self._new(memory, 1)
            if isinstance(value, bool):
                owner.flags.add(name)
        return memory, places[name]

    def growing(self) -> Growing:
        """Return a new list that grows."""
        return Growing(self._new("f", NODES_MAX), self._new("i", 1))

    def kept_list(self, thing: Any, name: str) -> Growing:
        """Return the place of an attribute that is such a list."""
        lists = self.owner(thing).lists
        if name not in lists:
            lists[name] = self.growing()
        return lists[name]

    def table(self, thing: Any) -> tuple[str, int, int]:
        """Return memory, first place and width of a table that never changes."""
        if id(thing) not in self._tables:
            shape = self.shape(thing)
            if shape is None:
                raise NotFlat(f"a {type(thing).__name__} is no table of numbers")
            memory, width = shape
            count = len(thing) * max(width, 1)
            if width and any(len(row) != width for row in thing):
                raise NotFlat("the rows of a table differ in length")
            self._tables[id(thing)] = thing, memory, self._new(memory, count), width
        return self._tables[id(thing)][1:]

    def shape(self, thing: Any) -> tuple[str, int] | None:
        """Return the memory and width of a table, None when ``thing`` is none."""
        if id(thing) not in self._shapes:
            self._shapes[id(thing)] = thing, rows_of(thing)
        return self._shapes[id(thing)][1]

    def live(self, thing: Any) -> LiveArray:
        """Return the place of an array that both sides use."""
        if id(thing) not in self.arrays:
            room = len(thing) or ROOM
            live = self.arrays[id(thing)] = LiveArray(self._new("i", room), thing, room)
            live.place = self._new("i", 2)
        return self.arrays[id(thing)]

    # -- while it runs ---------------------------------------------------------------------------------------

    def ready(self) -> None:
        """Make the arrays, after all is flattened, and fill in what never changes."""
        for owner in self.owners.values():
            for name in owner.written if not owner.fixed else ():
                setattr(owner.thing, name, getattr(owner.thing, name))  # the class's so far, now its own
        self._replaceable = [
            (owner.thing, name, live) for owner in self.owners.values() for name, live in owner.arrays.items()
        ]
        self.ints: NDArray[np.int64] = np.zeros(self.int_count, np.int64)
        self.floats: NDArray[np.float64] = np.zeros(self.float_count, np.float64)
        for thing, memory, base, width in self._tables.values():
            into = self.floats if memory == "f" else self.ints
            values = np.asarray(thing if width else list(thing), into.dtype)
            into[base : base + values.size] = values.reshape(-1)
        owners = list(self.owners.values())
        changing = [owner for owner in owners if not owner.fixed]
        Traffic([owner for owner in owners if owner.fixed]).take(self.ints, self.floats)
        self._traffic = Traffic(changing)
        for name, place in CALLED.items():
            self.ints[place] = c_address(name)
        self._address()

    def _address(self) -> None:
        """Fill in where the arrays that both sides use are."""
        for live in self.arrays.values():
            self.ints[live.place : live.place + 2] = live.view.ctypes.data, len(live.view)

    def copying(self, giving: bool) -> list[str]:
        """Return the statements that copy the arrays in, or those that the code writes back."""
        way = "give" if giving else "take"
        return [
            f"_{way}_{live.code}(_i, {live.base}, {live.place})"
            for live in self.arrays.values()
            if live.written or not giving
        ]

    def same(self) -> bool:
        """Return whether the structure still is what the code was made for; follow replaced arrays."""
        if not self._traffic.same() and not self._traffic.follow():
            return False
        for owner, name, live in self._replaceable:
            thing = getattr(owner, name)
            if thing is not live.thing:
                if len(thing) > live.room:
                    return False
                live.put(thing)
                self._address()
        return True

    def take(self) -> None:
        """Copy the objects' numbers in."""
        self._traffic.take(self.ints, self.floats)

    def give(self) -> None:
        """Copy the numbers that may have changed back."""
        self._traffic.give(self.ints, self.floats)


class Traffic:
    """Copies between the attributes of objects and the memory, by functions made for them.

    ``same()`` tells whether the attributes that are known objects still are the same, and no method has been
    replaced; ``take`` and ``give`` get the memories.
    """

    def __init__(self, owners: list[Attributes]) -> None:
        self._things: dict[str, Any] = {"bool": bool}
        self._owners = owners
        same, disjoint = ["True"], []
        get: dict[str, list[tuple[str, int]]] = {"i": [], "f": []}
        put: dict[str, list[tuple[str, int]]] = {"i": [], "f": []}
        after = []
        for number, owner in enumerate(owners):
            self._things[f"o{number}"] = owner.thing
            for name, known in owner.known.items():
                if name in getattr(owner.thing, "__dict__", {}):
                    self._things[f"k{number}_{name}"] = known
                    same.append(f"o{number}.{name} is k{number}_{name}")
            if owner.methods:
                self._things[f"m{number}"], self._things[f"d{number}"] = owner.methods, owner.thing.__dict__
                disjoint.append(f"m{number}.isdisjoint(d{number})")
            for memory, places in (("i", owner.ints), ("f", owner.floats)):
                for name, place in places.items():
                    get[memory].append((f"o{number}.{name}", place))
                    if name in owner.written:
                        put[memory].append((f"o{number}.{name}", place))
            after += [f"o{number}.{name} = bool(o{number}.{name})" for name in owner.flags & owner.written]
            for name, kept in owner.lists.items():
                nodes = f"floats[{kept.base}:{kept.base} + int(ints[{kept.length}])].tolist()"
                after.append(f"if ints[{kept.length}]: o{number}.{name} = {nodes}")
        self.same = self._made("same", [f"return {' and '.join(same + disjoint)}"])
        self.take = self._made("take", self._moves(get, "{memory}[{at}] = ({names})"), "ints, floats")
        self.give = self._made(
            "give", self._moves(put, "({names}) = {memory}[{at}].tolist()") + after, "ints, floats"
        )

    def follow(self) -> bool:
        """Take replaced objects for those that they replace, where nothing else changes by that."""
        number_of = {id(owner.thing): number for number, owner in enumerate(self._owners)}
        for number, owner in enumerate(self._owners):
            for name, before in owner.known.items():
                now = getattr(owner.thing, name)
                if now is before or f"k{number}_{name}" not in self._things:
                    continue
                if not (isinstance(now, bytes) and now == before):
                    other = number_of.get(id(before), -1)
                    if type(now) is not type(before) or other < 0 or not self._owners[other].only_numbers:
                        return False
                    self._owners[other].thing = self._things[f"o{other}"] = now
                    if self._owners[other].methods:  # its own must not hide them: `same` looks
                        self._things[f"d{other}"] = now.__dict__
                owner.known[name] = self._things[f"k{number}_{name}"] = now
        return bool(self.same())

    def _moves(self, places: dict[str, list[tuple[str, int]]], form: str) -> list[str]:
        lines = []
        for memory, pairs in places.items():
            if pairs:
                at = f"at{len(self._things)}"
                self._things[at] = np.array([place for _name, place in pairs], np.intp)
                names = "".join(f"{name}, " for name, _place in pairs)
                whole = {"i": "ints", "f": "floats"}[memory]
                lines.append(form.format(memory=whole, at=at, names=names))
        return lines

    def _made(self, name: str, lines: list[str], arguments: str = "") -> Callable[..., Any]:
        made: dict[str, Any] = {}
        exec("\n    ".join([f"def {name}({arguments}):", *(lines or ["pass"])]), self._things, made)
        function: Callable[..., Any] = made[name]
        return function
