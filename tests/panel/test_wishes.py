"""What a page may ask for: every field typed and bounded; no file of this computer is opened for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from strokebench.errors import UsageError
from strokebench.panel import wishes
from strokebench.panel.choice import Choice
from strokebench.panel.wishes import Malformed, Wishes

REAL: dict[str, Any] = {"part": "throttle-body", "simulated": False, "port": ""}


def asked(**changes: Any) -> Choice:
    named = Choice("shop/own.toml", simulated=False, port="/dev/named")
    return Wishes(named, lambda: ["/dev/ttyACM0", "COM3"]).choice({**REAL, **changes})


@pytest.mark.parametrize(
    "port",
    ["", "/dev/ttyACM0", "COM3", "/dev/named", "socket://bench.local:5000", "rfc2217://[fe80::1]:5000"],
)
def test_ports_of_the_list_named_at_the_start_or_of_the_network(port: str) -> None:
    assert asked(port=port).port == port


@pytest.mark.parametrize(
    "port",
    ["spy:///dev/null?file=/some/file", "/dev/sda", "/etc/passwd", "loop://", "hwgrep://.*", "alt://COM3?class=x",
     "socket://host:5000?logging=debug", "socket://host:5000/../x", "rfc2217://host:5000?ign_set_control", "socket://",
     "socket://h:99999999", "/dev/ttyACM0\n"],
)  # fmt: skip
def test_other_ports_are_refused_in_a_sentence(port: str) -> None:
    if port.strip() == "/dev/ttyACM0":
        assert asked(port=port).port == "/dev/ttyACM0"
        return
    with pytest.raises(UsageError, match="There is no port"):
        asked(port=port)


def test_a_spy_port_does_not_empty_a_file(tmp_path: Path) -> None:
    victim = tmp_path / "precious.txt"
    victim.write_text("precious", encoding="utf-8")
    with pytest.raises(UsageError):
        asked(port=f"spy:///dev/null?file={victim}")
    assert victim.read_text(encoding="utf-8") == "precious"


@pytest.mark.parametrize("part", ["/dev/zero", "/etc/passwd", "../x.toml", "no-such-part", ""])
def test_parts_are_built_in_or_named_at_the_start(part: str) -> None:
    with pytest.raises(UsageError, match="no part"):
        asked(part=part)
    assert asked(part="shop/own.toml").part == "shop/own.toml"


@pytest.mark.parametrize(
    "changes",
    [{"part": 5}, {"part": None}, {"simulated": "yes"}, {"simulated": 1}, {"port": ["x"]}, {"seed": -1},
     {"seed": 1.5}, {"seed": True}, {"seed": 2**40}, {"acknowledged": "true"},
     {"simulated": True, "faults": "binding"}, {"simulated": True, "faults": [5]},
     {"simulated": True, "faults": ["binding"] * 17}, {"simulated": True, "faults": ["binding" * 100]}],
)  # fmt: skip
def test_other_types_and_sizes_are_no_message(changes: dict[str, Any]) -> None:
    with pytest.raises(Malformed):
        asked(**changes)


def test_only_defects_of_the_list() -> None:
    assert asked(simulated=True, faults=["binding:severe"]).faults == ("binding:severe",)
    with pytest.raises(UsageError, match="no defect"):
        asked(simulated=True, faults=["gremlins"])


@pytest.mark.parametrize("value", [None, "0.5", True, float("nan"), float("inf"), [0.5]])
def test_a_drive_is_a_number(value: Any) -> None:
    with pytest.raises(Malformed):
        wishes.drive({"drive": value})


def test_a_drive_stays_within_one() -> None:
    assert (wishes.drive({"drive": 7}), wishes.drive({"drive": -0.25})) == (1.0, -0.25)


def test_what_is_typed_about_a_run_is_text_of_bounded_length() -> None:
    papers = wishes.papers({"customer": "x" * 5000, "note": "n"})
    assert (len(papers.customer), papers.serial, papers.note) == (wishes.TEXT_MAX, "", "n")
    with pytest.raises(Malformed):
        wishes.papers({"customer": {"a": 1}})
