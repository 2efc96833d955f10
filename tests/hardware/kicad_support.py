"""What the KiCad tests share: the committed netlists and a way to damage a copy."""

from __future__ import annotations

import copy
import shutil
from dataclasses import replace
from functools import lru_cache

import pytest

from hardware.checks import export, netlist
from hardware.checks.netlist import Netlist, Pin

FOLDERS = tuple(export.PROJECTS)
needs_kicad = pytest.mark.skipif(
    shutil.which("kicad-cli") is None, reason="kicad-cli (KiCad 9) is not installed"
)


@lru_cache
def committed(folder: str) -> Netlist:
    """The netlist in the repository (another test checks that it is that of the drawing)."""
    return netlist.read(export.HERE / folder / "exports" / f"{export.PROJECTS[folder]}.net")


class Damage:
    """A copy of a netlist with a few ways to spoil it."""

    def __init__(self, sound: Netlist) -> None:
        self.net = copy.deepcopy(sound)

    def lift(self, ref: str, number: str) -> None:
        """Unsolder one pin."""
        pins = self.net.nets[self.net.net_of(ref, number)]
        pins[:] = [p for p in pins if (p.ref, p.number) != (ref, number)]

    def move(self, ref: str, number: str, to: str) -> None:
        """Put one pin on another net."""
        name = self.net.net_of(ref, number)
        pin = next(p for p in self.net.nets[name] if (p.ref, p.number) == (ref, number))
        self.lift(ref, number)
        self.net.nets.setdefault(to, []).append(pin)

    def remove(self, ref: str) -> None:
        """Leave a part out."""
        del self.net.parts[ref]
        for pins in self.net.nets.values():
            pins[:] = [p for p in pins if p.ref != ref]

    def value(self, ref: str, value: str) -> None:
        """Fit another value."""
        self.net.parts[ref] = replace(self.net.parts[ref], value=value)

    def blank(self, ref: str, field: str) -> None:
        """Forget a field of the symbol."""
        part = self.net.parts[ref]
        self.net.parts[ref] = replace(part, fields={**part.fields, field: ""})

    def footprint(self, ref: str, footprint: str) -> None:
        """Assign another footprint."""
        self.net.parts[ref] = replace(self.net.parts[ref], footprint=footprint)

    def resistor(self, net: str, other: str) -> str:
        """Reference of a resistor between two nets."""
        return next(part.ref for part, end in self.net.resistors(net) if end.rsplit("/", 1)[-1] == other)

    def at(self, net: str, value: str) -> Pin:
        """First pin at a net of a part whose value starts so."""
        return next(p for p in self.net.nets[net] if self.net.parts[p.ref].value.startswith(value))
