"""Figures of docs/spice.md: present, referenced, reproducible, and thinned without losing peaks."""

from pathlib import Path

import pytest

from hardware.spice import __main__ as command
from hardware.spice import figures, runner

DOCS = Path(command.TARGET).parents[1]


def test_page_and_files_name_the_same_figures():
    page = (DOCS / "spice.md").read_text(encoding="utf-8")
    for name in figures.ALL:
        assert f"img/spice/{name}.svg" in page
        assert (command.TARGET / f"{name}.svg").stat().st_size < 60_000
    assert {p.stem for p in command.TARGET.glob("*.svg")} == set(figures.ALL)


def test_every_deck_is_explained_on_the_page():
    page = (DOCS / "spice.md").read_text(encoding="utf-8")
    for deck in runner.FOLDER.glob("*.cir"):
        assert deck.name in page
        assert runner.promised(deck.read_text(encoding="utf-8"))


def test_thinning_keeps_a_narrow_peak():
    times = [i * 1e-6 for i in range(50_000)]
    values = [0.0] * 50_000
    values[31_337] = 7.0
    x, y = figures.window(runner.Result({}, {"time": times, "v": values}), "v", 0.01, 0.04)
    assert max(y) == 7.0
    assert len(x) <= figures.POINTS
    assert list(x) == sorted(x)
    assert x[0] >= 0.01 and x[-1] <= 0.04


def test_unknown_figure_is_refused(capsys):
    assert command.main(["nonsense"]) == 2
    assert "no figure nonsense" in capsys.readouterr().err


@pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
def test_drawing_twice_gives_the_same_file(tmp_path):
    for path in (tmp_path / "a.svg", tmp_path / "b.svg"):
        figures.save(figures.sensor(), path)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
