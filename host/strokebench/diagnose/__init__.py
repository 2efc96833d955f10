"""Diagnosis: one module per physical question, pure functions from a run to findings.

:func:`diagnose` asks the questions of a kind of part (:mod:`strokebench.diagnose.registry`); verdicts are
given by :mod:`strokebench.verdict`. Nothing here knows the simulation.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData
    from strokebench.diagnose.case import Case
    from strokebench.diagnose.expects import PartProfile
    from strokebench.diagnose.question import Finder
    from strokebench.diagnose.registry import Kind

__all__ = ["case_of", "diagnose", "kind_of", "kinds"]


def kinds() -> tuple[str, ...]:
    """Return the kinds of part that can be diagnosed."""
    from strokebench.diagnose.registry import KINDS

    return tuple(sorted(KINDS))


def diagnose(run: RunData, profile: PartProfile) -> list[Finding]:
    """Return all findings of a run, unjudged, in a fixed order; UsageError for an unknown kind of part.

    Of a run that ended before its time only whole stretches are read (:mod:`strokebench.diagnose.whole`).
    When the recording as a whole is not fit (gaps, hardly driven, supply too low), every finding but those on
    the supply and on the recording itself loses its value and says why. A question whose channels were not
    recorded is not asked, and says what is missing; where the part was seen to be switched on
    (:mod:`strokebench.diagnose.switched`), what the current alone tells takes its place.
    """
    from strokebench.diagnose import channels
    from strokebench.diagnose.evidence import why_unfit
    from strokebench.diagnose.switched.find import find_alone
    from strokebench.diagnose.volts import with_volts
    from strokebench.diagnose.whole import whole_part

    kind = kind_of(profile.kind)
    run = with_volts(run)
    run = run if profile.kind == "guided" else whole_part(run)  # each answer of a person is whole
    case, lacks = kind.case(run, profile), channels.lacking(run)
    unfit = why_unfit(case)
    findings = [finding for finder in kind.finders for finding in _answers(finder, case, lacks, unfit)]
    if case.by_samples:
        findings = [
            finding if finding.key in kind.anyhow else channels.doubtful(finding) for finding in findings
        ]
    alone = {finding.key: finding for finding in find_alone(case, kind.alone)}
    findings = [finding if finding.known else alone.pop(finding.key, finding) for finding in findings]
    known = {finding.key for finding in findings if finding.known}
    return [*findings, *(finding for key, finding in alone.items() if finding.known and key not in known)]


def case_of(run: RunData, profile: PartProfile) -> Any:
    """Return the case of the profile's kind: what its finders and its figures work from."""
    from strokebench.diagnose.volts import with_volts

    return kind_of(profile.kind).case(with_volts(run), profile)


def kind_of(name: str) -> Kind:
    """Return how the kind of part called ``name`` is diagnosed; UsageError for an unknown one."""
    from strokebench.diagnose.registry import KINDS
    from strokebench.errors import UsageError

    if name not in KINDS:
        raise UsageError(
            f"There is no diagnosis for parts of kind {name!r}.", f"Known kinds: {', '.join(kinds())}."
        )
    return KINDS[name]


def _answers(finder: Finder, case: Case, lacks: frozenset[str], unfit: str) -> list[Finding]:
    """The findings of one question; without what it needs, or in an unfit recording, they know nothing."""
    from strokebench.diagnose import channels

    question = finder.QUESTION
    if channels.why_not(question.needs, case, lacks):
        found = finder.find(type(case)(channels.blank(case.run), case.profile))
    else:
        found = finder.find(case)
    if unfit:
        found = [
            finding if finding.key in question.not_of_part else finding.without_value(unfit)
            for finding in found
        ]
    return channels.explained(found, question, case, lacks)
