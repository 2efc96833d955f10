"""The bring-up guide and the drawings are what the program makes; the steps are consistent."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from strokebench.bringup.measures import MEASURES
from strokebench.bringup.record import DIFFERS, OK, Outcome, open_record
from strokebench.bringup.steps import Range, board_key, load_steps
from strokebench.calibrate.quantities import quantities
from strokebench.errors import BookError, UsageError
from tools.pages.bringup import page
from tools.pages.drawings import drawings

DOCS = Path(__file__).resolve().parents[2] / "docs"


def test_guide_is_made_from_the_steps() -> None:
    assert (DOCS / "bring-up.md").read_text(encoding="utf-8") == page(), "python -m tools.pages.bringup"


@pytest.mark.parametrize("name", list(drawings()))
def test_drawings(name: str) -> None:
    text = drawings()[name]
    assert (DOCS / "img" / name).read_text(encoding="utf-8") == text, "python -m tools.pages.drawings"
    root = ET.fromstring(text)
    _x, _y, width, height = map(float, root.attrib["viewBox"].split())
    space = "{http://www.w3.org/2000/svg}"
    for box in root.iter(f"{space}rect"):
        right = float(box.get("x", 0)) + float(box.attrib["width"])
        assert right <= width and float(box.get("y", 0)) + float(box.attrib["height"]) <= height
    for line in root.iter(f"{space}text"):
        length = 7.2 * len(line.text or "")  # generous for 13 px sans
        left = float(line.attrib["x"]) - (length / 2 if line.get("text-anchor") else 0)
        assert left >= 0 and left + length <= width + 5, line.text


@pytest.mark.parametrize("name", ["bring-up.md", "calibrate.md"])
def test_links_lead_somewhere(name: str) -> None:
    text = (DOCS / name).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link]
    assert links
    for link in links:
        assert (DOCS / link).exists(), link


def test_calibration_page_names_every_channel_and_the_points_it_asks_for() -> None:
    text = (DOCS / "calibrate.md").read_text(encoding="utf-8")
    for name in quantities():
        assert f"`{name}`" in text, name
    assert quantities()["current_fine"].points == (-5, -2.5, 0, 2.5, 5)
    assert quantities()["current_coarse"].points == (-20, -10, 0, 10, 20)
    assert quantities()["ntc_part"].points == (22_000, 10_000, 1_500)


def test_every_step_can_be_measured_and_has_advice() -> None:
    steps = load_steps()
    assert len({step.id for step in steps}) == len(steps)
    for step in steps:
        assert (step.reads == "bench") == bool(step.what), step.id
        assert step.what in MEASURES or step.what.startswith("selftest:") or not step.what, step.id
        for board in ("reference", "small", "simulated", "beginner"):
            expected = step.expected(board)
            if expected is None:
                assert board in step.skip or step.only not in ("", board), (step.id, board)
                continue
            low, high = expected.bounds
            assert low is not None or high is not None, step.id
            if low is not None:
                assert step.hint(low - 1, (low, high)), step.id
            if high is not None:
                assert step.hint(high + 1, (low, high)), step.id
            if step.reads == "bench":
                assert step.hint(None, (low, high)), step.id


def test_ranges_in_words() -> None:
    assert Range(value=1.0, tolerance=0.1).text == "1 ± 0.1"
    assert Range(low=1.0, high=2.0).text == "1 to 2"
    assert Range(low=3.0, high=3.0).text == "3"
    assert (Range(low=3.0).text, Range(high=3.0).text) == ("at least 3", "at most 3")
    assert Range(value=1.0, tolerance=0.1).bounds == (0.9, 1.1)


def test_which_expectations_hold() -> None:
    assert board_key("reference bench", "serial") == "reference"
    assert board_key("small bench", "serial") == "small"
    assert board_key("small bench", "inprocess") == "small"
    assert board_key("simulated bench", "serial") == "simulated"  # served on a device
    assert board_key("beginner bench", "inprocess") == board_key("beginner bench", "serial") == "beginner"
    assert board_key("reference bench", "chip") == "simulated"  # emulated, with the simulated plant


def test_record_is_kept_after_every_step_and_belongs_to_one_bench(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    record = open_record(path, "uid1", "small bench")
    record.put("a", Outcome(OK, 1.0, 0.0, 2.0, "V", "2026-11-25T10:00:00"))
    record.put("b", Outcome(DIFFERS, None, 0.0, 2.0, "V", "2026-11-25T10:01:00", "why"))
    again = open_record(path, "uid1", "small bench")
    assert again.steps == record.steps and again.passed("a") and not again.passed("b")
    assert open_record(path, "uid1", "small bench", fresh=True).steps == {}
    with pytest.raises(UsageError, match="another bench"):
        open_record(path, "uid2", "small bench")
    path.write_text("[]", encoding="utf-8")
    with pytest.raises(BookError):
        open_record(path, "uid1", "small bench")
