"""A large recording is read about as fast as numpy reads its numbers, with memory that is bounded."""

from __future__ import annotations

from pathlib import Path

from tools.evidence.foreign.speed import make, peak_bytes, ratio


def test_reading_takes_little_more_than_reading_its_numbers(tmp_path: Path) -> None:
    make(tmp_path / "large.csv", 300_000)
    times, _ = ratio(tmp_path / "large.csv")
    assert times < 6, "measured: 4.6 and 4.7"


def test_memory_grows_by_what_is_kept_and_not_by_the_text(tmp_path: Path) -> None:
    peaks = []
    for rows in (100_000, 300_000):
        make(tmp_path / "large.csv", rows)
        peaks.append(peak_bytes(tmp_path / "large.csv"))
    # of a row 8 bytes of current and of time are kept, and both once more at the end
    assert (peaks[1] - peaks[0]) / 200_000 < 60
    assert peaks[0] < 60e6
