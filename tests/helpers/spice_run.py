"""A transient by ngspice as arrays on wanted instants."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def transient(
    deck: str, vectors: dict[str, str], step_s: float, at_s: Floats, more: str = ""
) -> dict[str, Floats]:
    """Run ``deck`` (without analysis) up to the last of ``at_s`` with steps of at most ``step_s``.

    ``vectors``: our name -> ngspice expression. Returns each at ``at_s``, interpolated between its steps.
    """
    stop_s = float(at_s[-1]) + step_s
    with tempfile.TemporaryDirectory() as folder:
        out, file = Path(folder) / "waves", Path(folder) / "deck.cir"
        lets = "\n".join(f"let {name} = {text}" for name, text in vectors.items())
        file.write_text(
            f"{deck}\n.options method=gear reltol=1e-4\n.control\n"
            f"tran {step_s} {stop_s} 0 {step_s} {more}\n{lets}\nset wr_singlescale\nset wr_vecnames\n"
            f"wrdata {out} {' '.join(vectors)}\nquit\n.endc\n.end\n"
        )
        done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=120)
        waves = out if out.exists() else out.with_suffix(".data")
        assert waves.exists(), done.stdout[-2000:] + done.stderr[-2000:]
        table = np.loadtxt(waves, skiprows=1)
    return {name: np.interp(at_s, table[:, 0], table[:, n + 1]) for n, name in enumerate(vectors)}
