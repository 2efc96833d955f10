"""A table of numbers in every dialect is the same table; what is not certain is asked, with a proposal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from strokebench.data.run import RunData
from strokebench.errors import DataError
from strokebench.foreign.read import read_csv
from tools.evidence.foreign.dialects import DIALECTS, Dialect, mapping, write

ROWS = 2000
TIME_S = np.arange(ROWS) * 1e-3
TABLE = {
    "time_s": TIME_S,
    "current_a": np.round(2 + np.sin(3 * TIME_S), 4),
    "supply_v": np.full(ROWS, 12.6),
    "output_a_v": np.round(6 + np.sin(2 * TIME_S), 4),
    "sensor_a_v": np.round(0.5 + 2 * TIME_S, 4),
    "sensor_b_v": np.round(4.5 - 2 * TIME_S, 4),
}


def written(path: Path, dialect: Dialect) -> RunData:
    """The table, written and read back."""
    path.write_bytes(write(dialect, TABLE))
    return read_csv(path, mapping(dialect, TABLE))


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_every_dialect_is_read_as_the_table_that_it_is(tmp_path: Path, dialect: Dialect) -> None:
    rows = written(tmp_path / "any.csv", dialect).samples
    kept = np.ones(ROWS, bool)
    kept[-1] = not dialect.cut
    near = 4e-3 if dialect.beyond else 2e-4  # a single row that is left out is bridged by a straight line
    first_s = TIME_S[kept] - TIME_S[0]
    assert rows["time_s"] - rows["time_s"][0] == pytest.approx(first_s, abs=2e-6)
    for name in TABLE.keys() - {"time_s"}:
        assert rows[name] == pytest.approx(TABLE[name][kept], abs=near), name


def test_there_are_twenty_dialects_and_most_need_no_mapping() -> None:
    assert len({dialect.name for dialect in DIALECTS}) == len(DIALECTS) >= 20
    assert sum(dialect.mapped for dialect in DIALECTS) == 2


def proposal(path: Path, text: str) -> str:
    """The ``--map`` that a refusal proposes; with it the file is read."""
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as caught:
        read_csv(path)
    proposed = caught.value.hint.splitlines()[-1]
    assert proposed.startswith("--map '") and proposed.endswith("'")
    assert len(read_csv(path, proposed[len("--map '") : -1]).samples)
    return proposed


ROWS_OF_THREE = "".join(f"{n / 1000:.3f},{1 + n % 2},{n % 3}\n" for n in range(100))
IN_MS = "".join(f"{n},{1 + n % 2},{n % 3}\n" for n in range(100))


@pytest.mark.parametrize(
    ("text", "proposed"),
    [
        ("Time,CH1,CH2\ns,V,V\n" + ROWS_OF_THREE, 'time="Time",current_a="CH1*100"'),
        ("t,I1 [A],I2 [A]\n" + ROWS_OF_THREE, 'time="t",current_a="I1 [A]"'),
        ("Time,Current,Battery\n" + IN_MS, 'time="Time*0.001",current_a="Current",supply_v="Battery"'),
        ("Time [s],Current,x\n" + ROWS_OF_THREE, 'time="Time [s]",current_a="Current"'),
        ("a,I [mA],c\n" + ROWS_OF_THREE, 'time="a",current_a="I [mA]*0.001"'),
    ],
)
def test_what_is_not_certain_is_asked_with_a_proposal_to_paste(
    tmp_path: Path, text: str, proposed: str
) -> None:
    assert proposed in proposal(tmp_path / "scope.csv", text)


def test_both_outputs_and_both_sensors_are_known_by_their_names(tmp_path: Path) -> None:
    names = "Time [s];Current [A];Output A [V];Output B [V];Sensor A [V];Sensor B [V]\n"
    (tmp_path / "a.csv").write_text(names + "".join(f"{n / 1000};5;12;0.2;11;0.4\n" for n in range(60)))
    rows = read_csv(tmp_path / "a.csv").samples
    found = {name: float(rows[name][5]) for name in ("output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v")}
    assert found == {"output_a_v": 12.0, "output_b_v": 0.2, "sensor_a_v": 11.0, "sensor_b_v": 0.4}


def test_an_empty_column_that_the_mapping_leaves_out_is_not_refused(tmp_path: Path) -> None:
    text = "time_s,current_a,supply_v,part_c\n" + "".join(f"{n / 1000},1,,\n" for n in range(60))
    (tmp_path / "a.csv").write_text(text)
    for wanted in ("", 'time="time_s",current_a="current_a"'):
        run = read_csv(tmp_path / "a.csv", wanted)
        assert len(run.samples) == 60 and np.isnan(run.samples["supply_v"]).all()
    assert "without any number: supply_v, part_c" in run.info["understood"]["notes"]


@pytest.mark.parametrize("mark", ["inf", "OL", "9.9E37", "-1.#INF", "> 20", "Overload"])
def test_a_current_that_is_all_beyond_its_range_is_refused(tmp_path: Path, mark: str) -> None:
    (tmp_path / "a.csv").write_text("time_s,current_a\n" + "".join(f"{n / 1000},{mark}\n" for n in range(60)))
    with pytest.raises(DataError, match="no number in current_a: every reading is beyond its range"):
        read_csv(tmp_path / "a.csv")


def test_rows_beyond_the_range_are_left_out_and_counted(tmp_path: Path) -> None:
    run = written(tmp_path / "a.csv", next(dialect for dialect in DIALECTS if dialect.beyond))
    assert (
        "left out: rows without a number, 1 of current_a, 1 of them beyond their range"
        in (run.info["understood"]["notes"])
    )


def test_time_with_too_few_digits_is_refused_with_the_rows_as_a_proposal(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "time_s,current_a\n" + "".join(f"{n / 5000:.3f},1\n" for n in range(5001))
    )
    with pytest.raises(DataError, match="time_s stands still at line 3") as caught:
        read_csv(tmp_path / "a.csv")
    assert 'time="row*0.0002"' in caught.value.hint
    assert read_csv(tmp_path / "a.csv", 'time="row*0.0002",current_a="current_a"').bursts[0].rate_hz == (
        pytest.approx(5000)
    )
