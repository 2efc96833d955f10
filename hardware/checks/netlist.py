"""A KiCad netlist (kicadsexpr format) as parts and nets; nothing but the standard library."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

_TOKEN = re.compile(r'"(?:\\.|[^"\\])*"|[()]|[^\s()"]+')


@dataclass(frozen=True)
class Part:
    """One component: reference, value, footprint and the fields of the schematic symbol."""

    ref: str
    value: str
    footprint: str
    fields: dict[str, str]
    on_board: bool

    @property
    def kind(self) -> str:
        """Letters of the reference: R, C, Q, U..."""
        return self.ref.rstrip("0123456789")


@dataclass(frozen=True)
class Pin:
    """One connected pin: component reference, pad number, name in the symbol (may be empty)."""

    ref: str
    number: str
    function: str


@dataclass
class Netlist:
    """Parts by reference, nets by name (hierarchical names keep their leading sheet path)."""

    parts: dict[str, Part] = field(default_factory=dict)
    nets: dict[str, list[Pin]] = field(default_factory=dict)

    def net_of(self, ref: str, number: str) -> str:
        """Name of the net at a pad; KeyError when that pad is in no net."""
        for name, pins in self.nets.items():
            if any(pin.ref == ref and pin.number == number for pin in pins):
                return name
        raise KeyError(f"{ref}.{number}")

    def pins_of(self, ref: str) -> dict[str, str]:
        """Pad number -> net name for one component."""
        return {p.number: name for name, pins in self.nets.items() for p in pins if p.ref == ref}

    def by_function(self, ref: str) -> dict[str, str]:
        """Pin name -> net name for one component (pins that share a name: the last one)."""
        return {p.function: name for name, pins in self.nets.items() for p in pins if p.ref == ref}

    def with_value(self, *starts: str) -> list[Part]:
        """Parts whose value starts with one of the given texts, ordered by reference."""
        return sorted((p for p in self.parts.values() if p.value.startswith(starts)), key=lambda p: p.ref)

    def resistors(self, net: str) -> Iterator[tuple[Part, str]]:
        """Every resistor at a net with the net at its other end."""
        for pin in self.nets.get(net, []):
            part = self.parts[pin.ref]
            if part.kind != "R":
                continue
            for other in self.pins_of(part.ref).values():
                if other != net:
                    yield part, other


def parse_ohm(value: str) -> float:
    """'4k7', '15R', '33R 5W', '1 mOhm' -> ohm; ValueError for anything else."""
    text = value.split()[0] if not value.endswith("mOhm") else value.replace(" mOhm", "m")
    match = re.fullmatch(r"(\d+)([RkMm])(\d*)", text)
    if not match:
        raise ValueError(f"not a resistor value: {value!r}")
    scale = {"R": 1.0, "k": 1e3, "M": 1e6, "m": 1e-3}[match[2]]
    return float(f"{match[1]}.{match[3] or 0}") * scale


def read(path: Path) -> Netlist:
    """Parse a file written by `kicad-cli sch export netlist`."""
    return parse(path.read_text(encoding="utf-8"))


def parse(text: str) -> Netlist:
    """Parse the text of a netlist."""
    tree = _tree(text)
    result = Netlist()
    for comp in _children(_child(tree, "components"), "comp"):
        part = _part(comp)
        result.parts[part.ref] = part
    for net in _children(_child(tree, "nets"), "net"):
        result.nets[_text(net, "name")] = [
            Pin(_text(node, "ref"), _text(node, "pin"), _text(node, "pinfunction"))
            for node in _children(net, "node")
        ]
    return result


def _part(comp: list) -> Part:
    fields = {}
    for item in _children(_child(comp, "fields"), "field"):
        fields[_text(item, "name")] = item[2] if len(item) > 2 and isinstance(item[2], str) else ""
    flags = {_text(item, "name") for item in _children(comp, "property")}
    return Part(
        _text(comp, "ref"),
        _text(comp, "value"),
        _text(comp, "footprint"),
        fields,
        "exclude_from_board" not in flags,
    )


def _tree(text: str) -> list:
    stack: list[list] = [[]]
    for token in _TOKEN.findall(text):
        if token == "(":
            stack.append([])
        elif token == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(token[1:-1].replace('\\"', '"') if token[0] == '"' else token)
    return stack[0][0]


def _children(node: list, key: str) -> Iterator[list]:
    return (item for item in node if isinstance(item, list) and item and item[0] == key)


def _child(node: list, key: str) -> list:
    return next(_children(node, key), [])


def _text(node: list, key: str) -> str:
    item = _child(node, key)
    return item[1] if len(item) > 1 else ""
