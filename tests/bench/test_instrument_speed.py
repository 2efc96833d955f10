"""The bench as an instrument: a question's round trip, and samples as a block, with PyVISA as the client."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.helpers.process import short_profile
from tests.scpi.conftest import Served

pytestmark = [pytest.mark.extras, pytest.mark.slow]
RUN_S = 8.0


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Give a PyVISA client of a simulated bench that has just recorded a run of eight seconds."""
    pyvisa = pytest.importorskip("pyvisa")
    folder: Path = tmp_path_factory.mktemp("instrument")
    served = Served(folder, "--sim", short_profile(folder, RUN_S))
    manager = pyvisa.ResourceManager("@py")
    resource = manager.open_resource(served.resource, read_termination="\n", timeout=60_000)
    resource.write('CONF "short";:INIT')
    assert resource.query("*OPC?") == "1"
    yield resource
    resource.close()
    manager.close()
    assert served.end() == (0, "")


def test_round_trip(benchmark: Any, client: Any) -> None:
    assert benchmark(client.query, "*ESR?").isdecimal()


@pytest.mark.parametrize("form", ["REAL,32", "REAL,64", "ASC"])
def test_samples_as_a_block(benchmark: Any, client: Any, form: str) -> None:
    client.write(f"FORM {form}")
    kind = {"REAL,32": "f", "REAL,64": "d"}.get(form, "")

    def fetch() -> Any:
        if kind:
            return client.query_binary_values('FETC:ARR? "current_a"', kind, True, container=np.array)
        return client.query_ascii_values('FETC:ARR? "current_a"', container=np.array)

    values = benchmark(fetch)
    assert len(values) > 1000 * RUN_S and np.all(np.isfinite(values))
    benchmark.extra_info.update(values=len(values))
