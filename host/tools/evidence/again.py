"""Judging trials again from their readings, so that a page goes by today's rules and table of effects."""

from __future__ import annotations

from dataclasses import dataclass

from strokebench.data.findings import Finding
from strokebench.parts import load_part
from strokebench.verdict.bench_fit import bench_troubles, without_bench
from strokebench.verdict.decision import (
    SUPPLY,
    judge,
    named_faults,
    overall,
    suspects,
    verdict_of,
    without_consequences,
)
from strokebench.verdict.effects import NOTHING_KNOWN, table
from strokebench.verdict.hypotheses import Hypothesis, rank

from tools.evidence.shifts import as_finding
from tools.evidence.workers import Record


@dataclass(frozen=True)
class Answer:
    """What a run says of its part: ``shown`` are names that failing findings show, ``suspected`` likely ones
    beside them; ``leading`` the hypothesis of the highest probability, None where nothing fails."""

    shown: frozenset[str]
    suspected: frozenset[str]
    leading: Hypothesis | None

    @property
    def named(self) -> frozenset[str]:
        """All names that the verdict's line gives."""
        return self.shown | self.suspected


def answer(record: Record) -> Answer:
    """Return today's answer to a record; that of the bench's self-test where it refused to drive."""
    if not record.get("readings"):
        return Answer(frozenset(record["named"]), frozenset(), None)
    kind, found = _read(record)
    judged = judge(found, kind=kind)
    effects = table().get(kind, NOTHING_KNOWN)
    ranked = rank(without_consequences([verdict_of(each) for each in found], effects), effects, SUPPLY)
    names = frozenset(named_faults(judged)) - set(SUPPLY)
    return Answer(names, frozenset(suspects(judged)), ranked[0] if ranked else None)


def judged_again(record: Record) -> Record:
    """Return the record with today's verdict and names."""
    if not record.get("readings"):
        return record
    kind, found = _read(record)
    judged = without_bench(judge(found, kind=kind), kind)
    profile = load_part(record["spec"]["part"])
    names = [*named_faults(judged), *suspects(judged), *bench_troubles(judged)]
    return record | {"verdict": overall(judged, profile.required).value, "named": names}


def _read(record: Record) -> tuple[str, list[Finding]]:
    return load_part(record["spec"]["part"]).kind, [as_finding(each) for each in record["readings"]]
