"""strokebench: stroke a 12 V automotive actuator, measure it, judge it.

The library's face is :func:`open_bench`; everything heavy is imported when it is first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench, SimSpec, open_bench

__all__ = ["Bench", "SimSpec", "__version__", "open_bench"]


def __getattr__(name: str) -> Any:
    if name in ("Bench", "SimSpec", "open_bench"):
        from strokebench.bench import bench

        return getattr(bench, name)
    raise AttributeError(f"module 'strokebench' has no attribute {name!r}")
