"""A deck from a netlist: which parts are in it, what a layout adds, and by name what is left out."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from hardware.checks.netlist import Netlist, Pin, read
from hardware.twin import models

HERE = Path(__file__).resolve().parents[1]
PROJECTS = {
    "reference": HERE / "kicad/exports/strokebench.net",
    "small": HERE / "kicad_small/exports/strokebench_small.net",
    "beginner": HERE / "kicad_beginner/exports/beginner.net",
}


def netlist_of(bench: str) -> Netlist:
    """The exported netlist of a bench, "reference" or "small"."""
    return read(PROJECTS[bench])


def moved(netlist: Netlist, ref: str, pad: str, net: str) -> Netlist:
    """A copy of the netlist in which one pad is at another net: what a change of the drawing would do."""
    changed = copy.deepcopy(netlist)
    old = changed.net_of(ref, pad)
    pin = next(p for p in changed.nets[old] if p.ref == ref and p.number == pad)
    changed.nets[old].remove(pin)
    changed.nets.setdefault(net, []).append(Pin(ref, pad, pin.function))
    return changed


def node(net: str) -> str:
    """SPICE's name of a net."""
    return "0" if net == "GND" else "n_" + re.sub(r"\W+", "_", net).strip("_").lower()


@dataclass
class Deck:
    """Parts of ``netlist`` by reference; ``body``: whatever else the case needs, parasitics among it."""

    title: str
    netlist: Netlist
    taken: dict[str, list[str]] = field(default_factory=dict)
    body: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    """What no part of the netlist stands for: sentences of what the case leaves out."""

    def take(self, *refs: str, start_v: float | None = None) -> Deck:
        """Put parts in as the netlist connects them."""
        for ref in refs:
            self.taken[ref] = models.lines(self.netlist.parts[ref], self.pins(ref), start_v)
        return self

    def pins(self, ref: str) -> models.Pins:
        """Nodes of a part's pads, by number and by function."""
        found = {}
        for name, pins in self.netlist.nets.items():
            for pin in pins:
                if pin.ref == ref:
                    found[pin.number] = node(name)
                    if pin.function:
                        found[pin.function] = node(name)
        return found

    def between(self, ref: str, pad: str, element: str) -> Deck:
        """Put ``element`` (such as ``L5 {} {} 5n``) into the way of one pad of a part that is in already."""
        here, inner = self.pins(ref)[pad], f"{ref}_{pad}".lower()
        self.taken[ref] = [
            re.sub(rf"(?<= ){re.escape(here)}(?= )", inner, line, count=1) for line in self.taken[ref]
        ]
        self.body.append(element.format(here, inner))
        return self

    def add(self, *elements: str) -> Deck:
        """Put lines in that are not on the drawing."""
        self.body += elements
        return self

    def without(self, *sentences: str) -> Deck:
        """Say what the case leaves out beside parts."""
        self.missing += sentences
        return self

    def left_out(self) -> list[str]:
        """References of all parts at the deck's nets that are not in it, sorted."""
        used = {net for ref in self.taken for net in set(self.netlist.pins_of(ref).values()) if net != "GND"}
        beside = {pin.ref for net in used for pin in self.netlist.nets[net]} - set(self.taken)
        return sorted(beside, key=lambda ref: (ref.rstrip("0123456789"), ref))

    def text(self, control: str, measures: str, params: Iterable[str] = ()) -> str:
        """The whole deck for ``hardware.spice.runner.run_text``."""
        head = [
            f"* {self.title}", f"* measures: {measures}",
            f"* left out of the drawing's parts at these nets: {', '.join(self.left_out()) or 'none'}",
            *(f"* left out: {sentence}" for sentence in self.missing),
            ".include parts.lib", ".include twin.lib", *(f".param {text}" for text in params),
        ]  # fmt: skip
        parts = [line for lines in self.taken.values() for line in lines]
        return "\n".join([*head, *parts, *self.body, control.strip(), ".end", ""])
