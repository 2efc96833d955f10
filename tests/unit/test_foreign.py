"""CSV files from elsewhere: what is usable comes in as it is, what is not is said in one sentence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from strokebench.book.export.csv import write_csv
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import SAMPLE_DTYPE
from strokebench.errors import BookError, DataError
from strokebench.foreign.columns import parse_map
from strokebench.foreign.labelling import label_by_procedure
from strokebench.foreign.read import read_csv
from strokebench.parts.procedure import Procedure

GOOD = "time_s,drive,current_a,sensor_a_v\n0.000,0.1,1.5,0.5\n0.001,0.2,1.6,0.6\n0.002,0.3,1.7,0.7\n"


@pytest.fixture
def csv(tmp_path: Path) -> Path:
    path = tmp_path / "scope.csv"
    path.write_text(GOOD, encoding="utf-8")
    return path


def test_our_own_column_names_need_no_mapping(csv: Path) -> None:
    rows = read_csv(csv).samples
    assert rows["time_s"].tolist() == [0.0, 0.001, 0.002]
    assert rows["sensor_a_v"].tolist() == [0.5, 0.6, 0.7]
    assert np.isnan(rows["supply_v"]).all()


def test_mapping_with_scale_offset_and_awkward_names(csv: Path) -> None:
    csv.write_text("Time [s];CH1;CH2 (V);duty %\n0;0,1;1,25;10\n0,001;0,2;1,5;20\n")
    rows = read_csv(
        csv, 'time="Time [s]",current_a="CH1*100-0.5", sensor_a_v="CH2 (V)/2",drive="duty %*0.01"'
    ).samples
    assert rows["current_a"].tolist() == pytest.approx([9.5, 19.5])
    assert rows["sensor_a_v"].tolist() == pytest.approx([0.625, 0.75])
    assert rows["drive"].tolist() == pytest.approx([0.1, 0.2])


def test_drive_is_worked_out_from_the_volts_where_it_is_not_given(csv: Path) -> None:
    csv.write_text("time_s,current_a,supply_v,output_a_v\n0,0,12,0\n0.001,1,12,6\n0.002,1,12,-3\n")
    rows = read_csv(csv).samples
    assert rows["drive"].tolist() == pytest.approx([0, 0.5, -0.25])
    assert rows["output_b_v"].tolist() == [0, 0, 0]
    csv.write_text("time_s,current_a,supply_v,output_a_v,output_b_v\n0,0,12,5,5\n0.001,1,0,0,9\n")
    assert read_csv(csv).samples["drive"].tolist() == [0, 0], "floating legs are no drive, nor is no supply"


def test_a_drive_that_nothing_tells_is_unknown(csv: Path) -> None:
    for columns in ("current_a,supply_v", "current_a,output_a_v", "sensor_a_v,sensor_b_v"):
        csv.write_text(f"time_s,{columns}\n0,0,12\n0.001,1,12\n")
        rows = read_csv(csv).samples
        assert np.isnan(rows["drive"]).all()
        assert rows[columns.split(",")[0]].tolist() == [0, 1]


def test_the_time_alone_is_not_enough(csv: Path) -> None:
    csv.write_text("time_s,drive,supply_v\n0,0,12\n0.001,1,12\n")
    with pytest.raises(DataError, match="no column current_a, nor sensor_a_v, nor sensor_b_v"):
        read_csv(csv)
    csv.write_text("time_s,current_a,supply_v\n0,nan,12\n0.001,nan,12\n")
    with pytest.raises(DataError, match="holds no number in current_a"):
        read_csv(csv)


def test_a_column_whose_name_looks_like_arithmetic(csv: Path) -> None:
    csv.write_text("time_s,drive,I*10\n0,0,5\n0.001,0,6\n")
    assert read_csv(csv, 'current_a="I*10"').samples["current_a"].tolist() == [5, 6]


def test_comments_blank_lines_tabs_quotes_and_a_byte_order_mark(csv: Path) -> None:
    csv.write_bytes(b'\xef\xbb\xbf# scope 1\n\n"time_s"\tdrive\tcurrent_a\n0\t0\t"1.0"\n\n0.001\t0\t2.0\n')
    assert read_csv(csv).samples["current_a"].tolist() == [1.0, 2.0]


@pytest.mark.parametrize("rate_hz", [100, 1000, 10_000, 500_000])
def test_rates_from_100_hz_to_500_khz(csv: Path, rate_hz: int) -> None:
    count = max(4, rate_hz // 100)
    time_s = np.arange(count) / rate_hz
    lines = [f"{t:.9f},0.5,{n % 2}" for n, t in enumerate(time_s)]
    csv.write_text("\n".join(["time_s,drive,current_a", *lines]))
    rows = read_csv(csv).samples
    if rate_hz > 1000:  # averaged to the tick
        assert len(rows) == count // (rate_hz // 1000)
        assert rows["current_a"] == pytest.approx(0.5)
    else:
        assert len(rows) == count


BAD = [
    ("drive,current_a\n0,1\n0,1\n", "has no column time_s"),
    ("time_s,drive\n0,1\n0.001,1\n", "has no column current_a"),
    ("time_s,drive,current_a\n0,0,1\n0.001,0,nan\n0.002,0,nan\n",
     "current_a is not a number in 2 of 3 rows, first in line 3"),
    ("time_s,drive,current_a\n0,0,1\n0.001,0,\n",
     "current_a is not a number in 1 of 2 rows, first in line 3"),
    ("time_s,drive,current_a\n0,0,1\n\n0.001,0,n/a\n",
     "current_a is not a number in 1 of 2 rows, first in line 4"),
    ("time_s,drive,current_a\n0,0,1\n\n0.001,0,high\n",
     "line 4: 'high' is not a number in column 'current_a'"),
    ("time_s,drive,current_a\n0,0,1\n0.001,0\n0.002,0,1\n", "line 3: the row has too few columns"),
    ("time_s,drive,current_a\n0,0,1\n0.002,0,1\n0.001,0,1\n", "time_s goes back at line 4"),
    ("time_s,drive,current_a\n0,0,1\n0.001,0,1\n0.001,0,1\n", "time_s stands still at line 4"),
    ("time_s,drive,current_a\n0,0,1\n1,0,1\n2,0,1\n", "time_s gives 1 rows per second"),
    ("time_s,drive,current_a\n0,0,1\n1e-7,0,1\n2e-7,0,1\n", "usable are 100 to 500000"),
    ("time_s,drive,current_a\n0,0,1500\n0.001,0,1\n", "current_a reaches 1500 in line 2"),
    ("time_s,drive,current_a\n0,0,1\n0.001,55,1\n", "drive reaches 55 in line 3"),
    ("time_s,drive,current_a,sensor_a_v\n0,0,1,4500\n0.001,0,1,1\n", "sensor_a_v reaches 4500"),
    ("time_s,drive,current_a,supply_v\n0,0,1,12600\n0.001,0,1,1\n", "supply_v reaches 1.26e+04"),
    ("time_s,drive,current_a\n0,0,1\n", "holds a single row"),
    ("time_s,drive,current_a\n", "holds no rows"),
    ("", "holds no rows"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), BAD)
def test_each_defect_of_a_file_is_one_sentence(csv: Path, text: str, sentence: str) -> None:
    csv.write_text(text)
    with pytest.raises(DataError) as caught:
        read_csv(csv)
    assert sentence in str(caught.value)
    assert caught.value.hint
    assert caught.value.exit_code == 7


def test_an_optional_column_without_any_number_is_as_good_as_absent(csv: Path) -> None:
    csv.write_text("time_s,drive,current_a,part_c\n0,0,1,nan\n0.001,0,1,nan\n")
    assert np.isnan(read_csv(csv).samples["part_c"]).all()


def test_not_there_and_not_text(tmp_path: Path, csv: Path) -> None:
    with pytest.raises(BookError, match="cannot be read"):
        read_csv(tmp_path / "none.csv")
    csv.write_bytes(b"time_s,\xff\x00\xfe\n")
    with pytest.raises(DataError, match="not a text file"):
        read_csv(csv)


@pytest.mark.parametrize(
    ("mapping", "sentence"),
    [
        ("time", "not readable at 'time'"),
        ('voltage="CH1"', "'voltage', which is no column"),
        ('current_a="CH9*2"', "no column 'CH9'"),
        ('current_a="current_a/0"', "divides by zero"),
    ],
)
def test_a_mapping_that_makes_no_sense(csv: Path, mapping: str, sentence: str) -> None:
    with pytest.raises(DataError, match=sentence):
        read_csv(csv, mapping)


def test_mapping_syntax() -> None:
    assert parse_map('time = "a b" , current_a=CH1*2') == {"time_s": "a b", "current_a": "CH1*2"}
    assert parse_map("") == {}


def recording() -> RunData:
    samples = np.zeros(400, SAMPLE_DTYPE)
    samples["time_s"] = np.arange(400) / 1000
    samples["current_a"] = np.linspace(0, 3, 400).round(4)
    samples["part_c"] = np.nan
    marks = [
        Mark("rest", 0.0, 0.1, 0, "pause"),
        Mark("hold", 0.1, 0.3, 1, "hold"),
        Mark("hold", 0.3, 0.4, 2, "hold"),
    ]
    return RunData(samples, marks)


def test_an_export_reads_back_with_its_marks(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    write_csv(recording(), str(path))
    back = read_csv(path)
    np.testing.assert_array_equal(back.samples["current_a"], recording().samples["current_a"])
    assert [(mark.label, mark.kind) for mark in back.marks] == [
        ("rest", "pause"),
        ("hold", "hold"),
        ("hold", "hold"),
    ]
    assert [mark.start_s for mark in back.marks] == pytest.approx([0.0, 0.1, 0.3])
    assert [mark.end_s for mark in back.marks] == pytest.approx([0.1, 0.3, 0.4])


def test_an_export_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="cannot be written"):
        write_csv(recording(), str(tmp_path / "no" / "out.csv"))


PROCEDURE = Procedure.model_validate(
    {
        "segments": [
            {"kind": "pause", "label": "rest", "for_s": 0.2},
            {"kind": "ramp", "label": "sweep", "to": 0.5, "over_s": 0.5},
            {"kind": "hold", "label": "stall", "for_s": 0.3},
        ]
    }
)


def followed(shift_s: float) -> RunData:
    """A recording that begins ``shift_s`` before the procedure does."""
    samples = np.zeros(1500, SAMPLE_DTYPE)
    samples["time_s"] = np.arange(1500) / 1000
    at = samples["time_s"] - shift_s
    samples["drive"] = np.where(at > 1.0, 0, np.clip((at - 0.2), 0, 0.5))
    samples["drive"][at > 1.0] = 0.5
    return RunData(samples)


@pytest.mark.parametrize("shift_s", [0.0, 0.25, -0.1])
def test_a_recording_that_followed_the_procedure_gets_its_labels(shift_s: float) -> None:
    run = label_by_procedure(followed(shift_s), PROCEDURE)
    assert [mark.label for mark in run.marks] == ["rest", "sweep", "stall"]
    assert run.marks[1].start_s == pytest.approx(0.2 + shift_s, abs=0.005)


def test_another_movement_gets_none() -> None:
    run = followed(0.0)
    run.samples["drive"] *= -1
    assert label_by_procedure(run, PROCEDURE).marks == []
    run.samples["drive"] = 0
    assert label_by_procedure(run, PROCEDURE).marks == []
