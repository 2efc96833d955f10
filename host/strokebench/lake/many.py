"""Work on many recordings at once by Dask: on this computer's cores, or on a cluster that is named."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any

from strokebench.errors import DataError, LinkError, StrokebenchError
from strokebench.lake.place import Place, needed, open_place
from strokebench.lake.rows import recording
from strokebench.parts import profile_of

WAIT_S = 20


@contextmanager
def cluster(scheduler: str) -> Iterator[Any]:
    """Give a Dask client: of the ``scheduler`` at that address, else of a cluster on this computer.

    :class:`LinkError` when nobody answers there.
    """
    distributed = needed("distributed")
    try:
        client = distributed.Client(scheduler or None, timeout=WAIT_S, **_here(scheduler))
    except (OSError, ValueError) as error:
        raise LinkError(
            f"No Dask scheduler answers at {scheduler}: {error}.", "Start one: dask scheduler."
        ) from None
    with client:
        yield client


def _here(scheduler: str) -> dict[str, Any]:
    return {} if scheduler else {"dashboard_address": None, "threads_per_worker": 1}


def _here_only(place: Place) -> bool:
    """Tell whether other processes cannot see the lake."""
    return bool(place.system.protocol == "memory")


@contextmanager
def _anywhere(place: Place, scheduler: str) -> Iterator[None]:
    """Work on the cluster that is named, else in threads of this process."""
    if scheduler and not _here_only(place):
        with cluster(scheduler):
            yield
        return
    with needed("dask").config.set(scheduler="threads"):
        yield


@dataclass(frozen=True)
class Amount:
    """What is in the lake of a part: recordings, samples, the largest and the root mean square current, A."""

    part: str
    recordings: int
    samples: int
    most_a: float
    rms_a: float


def amounts(place: Place, part: str, scheduler: str) -> list[Amount]:
    """Return what the samples of each part (or of that named) come to. DataError when there is none."""
    frames = needed("dask.dataframe")
    paths = [place.named(path) for path in place.files("samples", part=part or "*")]
    if not paths:
        raise DataError("The lake has no samples of such a part.", "Put them without --findings-only.")
    with _anywhere(place, scheduler):
        samples = frames.read_parquet(paths, columns=["current_a", "run", "part"])
        samples["square"], samples["size"] = samples["current_a"] ** 2, samples["current_a"].abs()
        samples["part"] = samples["part"].astype(str)
        groups = samples.groupby("part").agg({"square": ["sum", "count"], "size": "max"}).compute()
    recordings: dict[str, int] = {}
    for path in paths:
        name = path.split("/part=")[1].split("/")[0]
        recordings[name] = recordings.get(name, 0) + 1
    return [
        Amount(
            str(name), recordings[str(name)], int(row[("square", "count")]), float(row[("size", "max")]),
            float((row[("square", "sum")] / row[("square", "count")]) ** 0.5),
        )
        for name, row in groups.sort_index().iterrows()
    ]  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """A recording of the lake, judged again: run, bench, verdict then and now, and which findings fail now.

    ``error``: why it could not be judged, empty otherwise.
    """

    run: str
    bench: str
    before: str
    now: str
    failing: tuple[str, ...] = ()
    error: str = ""


def judged_again(place: Place, part: str, profile: dict[str, Any], scheduler: str) -> list[Judged]:
    """Judge all recordings of ``part`` by the limits of ``profile`` (a plain table), each a task of its own.

    The workers read the lake themselves: its address must mean the same to them.
    """
    paths = place.files("samples", part=part)
    if not paths:
        raise DataError(f"The lake has no samples of {part}.", "Put them without --findings-only.")
    if _here_only(place):
        return [judge_recording(place.url, path, profile) for path in paths]
    with cluster(scheduler) as client:
        wanted = client.scatter(profile, broadcast=True)
        tasks = client.map(partial(judge_recording, place.url), paths, profile=wanted, pure=False)
        found: list[Judged] = client.gather(tasks)
    return found


def judge_recording(url: str, path: str, profile: dict[str, Any]) -> Judged:
    """Judge one recording; runs on a worker."""
    from strokebench.verdict.examine import examine

    place = open_place(url, there=False)
    facts: dict[str, Any] = {}
    try:
        bursts = path.replace("/samples/", "/bursts/")
        captures = place.read(bursts) if place.system.exists(bursts) else None
        data, facts = recording(place.read(path), captures)
        findings, verdict = examine(data, profile_of(profile, "the new limits"))
    except StrokebenchError as error:
        return Judged(str(facts.get("run", path)), "", str(facts.get("verdict", "")), "", (), str(error))
    failing = tuple(finding.key for finding in findings if finding.verdict.value == "fail")
    return Judged(facts["run"], facts["bench"], facts["verdict"], verdict.value, failing)
