"""Who may import whom: no circles, arrows that go one way, and a place in the order for every room."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest

from tests.helpers.import_graph import (
    FIRMWARE,
    HOST,
    TOOLS,
    Import,
    all_imports,
    circles,
    imports,
    modules,
    room,
    two_way_rooms,
)

LAYERS = (
    ("errors", "physics"),
    ("data",),
    ("parts", "book"),
    ("link",),
    ("bench",),
    ("__init__", "diagnose"),
    ("verdict", "foreign", "measure", "guided", "connect"),
    ("session", "report", "terminal", "image", "lake"),
    ("sim",),
    ("calibrate",),
    ("bringup", "lessons"),
    ("panel",),
    ("scpi",),
    ("commands",),
    ("cli",),
    ("__main__",),
)
"""The rooms of the host from the ground up. A room imports from lower layers only, never from its own.

What goes onto a real chip (image) is below the simulator, which puts the same files onto an emulated one.
"""
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
DOOR = Import("strokebench.bench.bench", "strokebench.sim", "open_bench")
"""The one way from below into the simulator: it is loaded when a simulated bench is asked for."""
SIM_USERS = {"sim", "calibrate", "lessons", "panel", "commands"}
HARDWARE_MODULES = {"machine", "rp2", "_rp2", "rp2040", "uctypes"}
FEWEST, MOST, MOST_AT_THE_TOP = 3, 27, 6
"""Files in a folder; a room with one or two is a file, one with more than 27 hides other rooms."""

KNOWN = modules(HOST, TOOLS, FIRMWARE)
MADE = [each for each in all_imports(KNOWN) if each.of in KNOWN]


def host_room(module: str) -> str:
    """Return the name of a host module's room as in LAYERS."""
    return (module.split(".") + ["__init__"])[1]


def upwards(made: Iterable[Import]) -> list[str]:
    """Return, in words, the imports within the host that do not go down."""
    inside = [
        each for each in made if each.by.startswith("strokebench") and each.of.startswith("strokebench")
    ]
    return [
        f"{each.by} imports {each.of}"
        for each in inside
        if each != DOOR
        and host_room(each.by) != host_room(each.of)
        and LEVEL[host_room(each.by)] <= LEVEL[host_room(each.of)]
    ]


def sim_users(made: Iterable[Import]) -> list[str]:
    """Return, in words, the imports of the simulator by rooms of the host that do without."""
    return [
        f"{each.by} imports {each.of}"
        for each in made
        if room(each.of) == "strokebench.sim"
        and each != DOOR
        and each.by.startswith("strokebench")
        and host_room(each.by) not in SIM_USERS
    ]


def test_no_circle_between_modules() -> None:
    found = circles((each.by, each.of) for each in MADE)
    assert not found, "\n".join(" <-> ".join(group) for group in found)


def test_no_two_rooms_import_each_other() -> None:
    found = two_way_rooms(each for each in MADE if each != DOOR)
    assert not found, "\n".join(found)


def test_every_room_of_the_host_has_a_layer() -> None:
    there = {path.stem if path.is_file() else path.name for path in (*HOST.glob("*.py"), *HOST.glob("*/"))}
    assert there - {"__pycache__"} == set(LEVEL)


def test_rooms_import_downwards_only() -> None:
    assert not upwards(MADE), "\n".join(upwards(MADE))


def test_the_simulator_is_entered_by_those_who_need_it() -> None:
    assert DOOR in MADE
    assert not sim_users(MADE), "\n".join(sim_users(MADE))


def test_the_firmware_never_imports_the_host_and_the_wheel_never_the_tools() -> None:
    wrong = [
        f"{each.by} imports {each.of}"
        for each in all_imports(modules(HOST, FIRMWARE))
        if each.of.split(".")[0] == "tools" or (each.by.startswith("strokefw") and "strokebench" in each.of)
    ]
    assert not wrong, wrong


def test_only_the_chips_room_touches_the_chip() -> None:
    touching = [each for each in all_imports(modules(FIRMWARE)) if each.of.split(".")[0] in HARDWARE_MODULES]
    assert touching
    wrong = [f"{each.by} imports {each.of}" for each in touching if room(each.by) != "strokefw.pico"]
    assert not wrong, wrong


@pytest.mark.parametrize("top", [HOST, TOOLS, FIRMWARE], ids=lambda top: top.name)
def test_folders_hold_a_handful_of_files(top: Path) -> None:
    assert len(list(HOST.glob("*.py"))) <= MOST_AT_THE_TOP
    for folder in {path.parent for path in top.rglob("*.py")}:
        files = [path for path in folder.iterdir() if path.is_file()]
        assert len(files) <= MOST, folder
        rooms = [path for path in folder.iterdir() if path.is_dir() and path.name != "__pycache__"]
        assert len(files) + len(rooms) >= FEWEST or folder == top, folder


def shared_prefixes(names: Iterable[str]) -> dict[str, list[str]]:
    """Return the first words of module names that three or more share: such files are a folder."""
    found: dict[str, list[str]] = {}
    for name in sorted(names):
        found.setdefault(name.split("_")[0], []).append(name)
    return {prefix: group for prefix, group in found.items() if len(group) >= 3}


def test_a_prefix_shared_by_three_files_is_a_folder() -> None:
    wrong = {
        str(folder): prefixes
        for top in (HOST, TOOLS, FIRMWARE)
        for folder in {path.parent for path in top.rglob("*.py")}
        if (prefixes := shared_prefixes(path.stem for path in folder.glob("[!_]*.py")))
    }
    assert not wrong
    assert shared_prefixes(["guard", "guard_heat", "guard_volts", "ramp"]) == {
        "guard": ["guard", "guard_heat", "guard_volts"]
    }


PLANTED = """
from typing import TYPE_CHECKING
if TYPE_CHECKING:
    from strokebench.panel import view
def begin():
    from strokebench.sim import trials
    from ..commands import common
"""


def test_the_rules_can_fail() -> None:
    judge = "strokebench.verdict.examine"  # the simulator judges its trials by it
    planted = list(imports(judge, PLANTED, KNOWN))
    assert Import(judge, "strokebench.sim.trials", "begin") in planted
    assert not [each.of for each in planted if "panel" in each.of], "a type checker's imports do not count"
    assert len(upwards(planted)) == 2 and len(sim_users(planted)) == 1
    both = [*MADE, *planted]
    found = {name for group in circles((each.by, each.of) for each in both) for name in group}
    assert {judge, "strokebench.sim.trials"} <= found
    assert any("sim and strokebench.verdict:" in pair for pair in two_way_rooms(both))
    assert not any("sim and strokebench.verdict:" in pair for pair in two_way_rooms(MADE))
    assert circles([("a", "b"), ("b", "c"), ("c", "a"), ("c", "d"), ("d", "d")]) == [["a", "b", "c"]]
    other_door = DOOR._replace(function="close")
    assert upwards([other_door]) and sim_users([other_door]), "only open_bench is the door"
