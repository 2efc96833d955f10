"""Completion scripts name the commands, are accepted by the shell, and say what is missing without shtab."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest
from pytest_mock import MockerFixture
from strokebench.cli import main
from strokebench.commands.setup.completion import SHELLS


@pytest.mark.parametrize("shell", SHELLS)
def test_a_script_for_each_shell(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("shtab")
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(word in script for word in ("calibrate", "measure"))
    assert ("--max-current" in script) == (shell != "tcsh")  # tcsh's scripts know no options of commands
    if shutil.which(shell):
        checked = subprocess.run([shell, "-n"], input=script, text=True, capture_output=True, timeout=30)
        assert checked.returncode == 0, checked.stderr


def test_without_shtab_one_sentence(mocker: MockerFixture, capsys: pytest.CaptureFixture[str]) -> None:
    mocker.patch.dict(sys.modules, {"shtab": None})
    assert main(["completion", "bash"]) == 2
    assert "package shtab" in capsys.readouterr().err
