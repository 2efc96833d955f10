"""The chip's report says what it lacks, and puts both columns beside each other by the row's words."""

from __future__ import annotations

from pathlib import Path

import pytest
from tools.chip import raw, report


class Made:
    """Stands in for a keeper; ``missing``: parts and costs of a miss that cannot be made."""

    made_of = "0123456789abcdef"

    def __init__(self, *missing: tuple[str, int]) -> None:
        self.missing = missing

    def made(self, python: str, name: str, image: Path, miss: int) -> tuple[list[report.Row], str]:
        if (name, miss) in self.missing:
            return [], f"{name}: the chip did not start"
        return [(f"row of {name}", f"{miss} cycles")], ""


def page(tmp_path: Path, keeper: Made) -> tuple[str, list[str]]:
    path = tmp_path / "page.md"
    wrong = report.write_page(path, keeper, Path("image"), "python")  # type: ignore[arg-type]
    return path.read_text("utf-8"), wrong


def test_a_row_made_twice_has_both_columns_and_the_other_a_dash(tmp_path: Path) -> None:
    text, wrong = page(tmp_path, Made())
    assert not wrong and "Not complete" not in text
    assert f"same firmware and image (fingerprint `{Made.made_of}`)" in text
    for name in report.ORDER:
        beside = "64 cycles" if report.PARTS[name].again else "-"
        assert f"| row of {name} | 0 cycles | {beside} |" in text


def test_the_page_names_each_part_that_is_not_whole(tmp_path: Path) -> None:
    text, wrong = page(tmp_path, Made(("whole", 0), ("causes", report.MISS_CYCLES)))
    assert wrong == ["whole: the chip did not start", "causes: the chip did not start"]
    assert "Not complete: whole (as emulated), causes (with flash cache)." in text
    assert "| row of whole | - | 64 cycles |" in text


def test_a_miss_of_the_cache_that_the_emulator_cannot_count_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    native = pytest.importorskip("rp2040py.native._rp2040")
    monkeypatch.delattr(native, "xip_config", raising=False)
    with pytest.raises(report.StrokebenchError, match="does not model the flash cache"):
        report.set_cache(report.MISS_CYCLES)
    assert report.main(["image", "--miss", "64"]) == 2


@pytest.mark.parametrize(
    ("came", "lost", "whole"), [(37_000, 0, True), (19_024, 0, False), (37_000, 1, False)]
)
def test_readings_that_pile_up_in_the_chip_are_not_a_stream_that_keeps_up(
    came: int, lost: int, whole: bool
) -> None:
    """Of 37 500; the chip's memory holds 31 744."""
    assert raw.Streamed(62_500, came, lost, spent_s=0.6).whole is whole
