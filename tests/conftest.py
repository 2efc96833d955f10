"""What holds for every test: neutral surroundings, a folder of its own, and the cores that files run on."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis.configuration import set_hypothesis_home_dir

OURS = "STROKEBENCH_"
KEPT = (
    "STROKEBENCH_PICO_IMAGE",
    "STROKEBENCH_PICO_CACHED_PYTHON",
    "STROKEBENCH_PICO_KEPT",
    "STROKEBENCH_STATEFUL_EXAMPLES",
    "STROKEBENCH_SHRINK",
)
"""Said to the tests, not to the program."""
LONGEST = (
    "tests/panel",
    "tests/docs/test_blocks.py",
    "tests/closed_loop/test_accuracy_share.py",
    "tests/contract/test_contract.py",
    "tests/chip/test_no_allocation.py",
    "tests/chip/test_firmware.py",
)
OF_THE_TERMINAL = (
    "COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE", "PYTHONIOENCODING",
    "PYTHONWARNINGS", "MPLBACKEND",
)  # fmt: skip


def disturbing(variables: Mapping[str, str]) -> list[str]:
    """Return the names of the variables that change what the program does or prints."""
    ours = {name for name in variables if name.startswith(OURS)} - {*KEPT}
    return sorted(ours | ({*variables} & {*OF_THE_TERMINAL}))


@pytest.fixture(scope="session", autouse=True)
def neutral_surroundings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No variable that a shop may have set, and no folder in which anything lies."""
    with pytest.MonkeyPatch.context() as patch:
        for name in disturbing(os.environ):
            patch.delenv(name)
        patch.chdir(tmp_path_factory.mktemp("nobody"))
        yield


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a test writes without saying where lands in its own folder."""
    monkeypatch.chdir(tmp_path)


def pytest_configure(config: pytest.Config) -> None:
    """Keep what hypothesis learns beside the sources, wherever a test may stand."""
    set_hypothesis_home_dir(config.rootpath / ".hypothesis")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, so that no core waits for one of them at the end."""
    items.sort(key=lambda item: _turn(_scope(item.nodeid)))


def _scope(nodeid: str) -> str:
    """What stays together on one core: a file, or all of the panel's."""
    file = nodeid.partition("::")[0]
    return "tests/panel" if file.startswith("tests/panel/") else file


def _turn(scope: str) -> int:
    return LONGEST.index(scope) if scope in LONGEST else len(LONGEST)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Return a scheduler by which a file stays whole and the panel's files go one after another.

    Files that run a whole matrix once for all their tests, and tests that watch a clock in a browser, need
    this. xdist has marks for it, but with pytest 9 they were seen to have no effect.
    """
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _scope(nodeid)

    config.option.loadscopereorder = False  # by number of tests, which says little
    return ByFile(config, log)
