"""How the tests are shared out over the cores: a file stays whole, the panel's files go one after another.

Files that run a whole matrix once for all their tests, and tests that watch a clock in a browser, need this.
xdist has marks for it, but with pytest 9 they were seen to have no effect.
"""

from __future__ import annotations

from typing import Any

import pytest


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Return the scheduler that keeps together what belongs together."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            return "tests/panel" if file.startswith("tests/panel/") else file

    return ByFile(config, log)
