"""The annex of a report: how the names came about, step by step, as plain strings. The command ``why`` prints
the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from strokebench.data.findings import Finding, Verdict
from strokebench.diagnose.defects import defect
from strokebench.report.numbers import limits_text, with_uncertainty
from strokebench.verdict.bench_fit import bench_troubles
from strokebench.verdict.decision import FOLLOWS, POINTED
from strokebench.verdict.hypotheses import SHARE
from strokebench.verdict.next_test import NextTest
from strokebench.verdict.why import SHOWN, Prediction, Reasoning, reasoning, size_word

STRONG = 1000.0
"""Factors beyond it are written as "over 1000"."""


@dataclass(frozen=True)
class Step:
    """A step of the reasoning: its title, sentences, and a table where there is something to compare."""

    title: str
    lines: list[str] = field(default_factory=list)
    header: tuple[str, ...] = ()
    rows: Sequence[tuple[str, ...]] = ()


def steps(findings: Sequence[Finding], kind: str) -> list[Step]:
    """Return the steps of the reasoning for judged findings of a kind of part; a single one where nothing of
    the part is out of limits."""
    bench = bench_troubles(findings)
    if bench:
        names = " and ".join(defect(name).name.lower() for name in bench)
        line = f"The bench is not fit ({names}). It falsifies every reading of the part."
        return [Step("The bench", [line])]
    found = reasoning(findings, kind)
    if found is None:
        unsure = [each.title for each in findings if each.verdict is Verdict.INCONCLUSIVE]
        lines = [
            "No finding of the part is out of its limits by its uncertainty. So no defect has to be found."
        ]
        return [Step("Nothing to explain", lines + ([f"Open: {'; '.join(unsure)}."] if unsure else []))]
    return list(_steps(found))


def _steps(found: Reasoning) -> Iterator[Step]:
    yield _pointed(found)
    if found.declared:
        yield _declared(found)
    if found.ranked:
        yield _ranked(found)
    if found.predictions:
        yield _predicted(found)
    yield _settled(found)
    if found.ranked:
        yield _test(found.test, found)


def _pointed(found: Reasoning) -> Step:
    rows = [
        (
            each.title,
            _value(each),
            f"{limits_text(each.lower, each.upper)} {each.unit}",
            defect(each.fault).name,
        )
        for each in found.pointed
    ]
    line = "Each finding points to the defect of which it is the first sign. Several may have one cause."
    return Step("Findings out of their limits", [line], ("Finding", "Value", "Allowed", "Points to"), rows)


def _declared(found: Reasoning) -> Step:
    lines = [f"{each.title}: follows from {_name(str(each.evidence[FOLLOWS]))}." for each in found.declared]
    return Step("Findings explained by a rule, because no simulated part has such a defect", lines)


def _ranked(found: Reasoning) -> Step:
    first = found.ranked[0]
    tried = len(found.ranked)
    lines = [
        f"{tried} hypotheses of one, two or three defects were tried. Each predicts all findings at once,"
        " and their probabilities add up to 100 %."
    ]
    rows = [
        (_names(each.defects), ", ".join(size_word(size) for size in each.sizes), _percent(each.probability))
        for each in found.ranked[:SHOWN]
    ]
    lines += [
        f"{defect(name).name}, by itself, was left out: it does not move the finding {finding.title!r},"
        f" and no run could tell {_name(finding.fault)} beside it."
        for name, finding in found.left_out
    ]
    if first.probability < 0.5:
        lines.append("No hypothesis is likelier than all others together.")
    return Step(
        "Which defects explain it", lines, ("Defects, no others", "Size that fits best", "Probability"), rows
    )


def _predicted(found: Reasoning) -> Step:
    first, others = found.ranked[0], found.ranked[1:2]
    lines = [f"Leading: {_names(first.defects)}."]
    lines += [f"Next: {_names(each.defects)}." for each in others]
    lines.append(
        "A factor is how many times likelier the value is with the leading hypothesis than with a good part,"
        " or than with the next hypothesis. A factor below 1 speaks against the leading one."
        f" Findings share errors, so all factors together count to the power of {SHARE:g}."
    )
    if together := [each.finding.title for each in found.predictions if each.together]:
        lines.append(f"Two of the leading defects do not simply add up in these: {'; '.join(together)}.")
    header = ("Finding", "Seen", "Good part", "Leading", "Next", "Factor to good", "Factor to next")
    return Step(
        "How well each finding fits", lines, header, [_prediction(each) for each in found.predictions]
    )


def _prediction(each: Prediction) -> tuple[str, ...]:
    return (
        each.finding.title,
        _value(each.finding),
        _around(each.good),
        _around(each.leading),
        _around(each.other) if each.other else "",
        _factor(each.against_good),
        "" if each.against_other is None else _factor(each.against_other),
    )


def _settled(found: Reasoning) -> Step:
    lines = []
    for each in found.settled:
        if FOLLOWS in each.evidence:
            lines.append(f"{each.title}: follows from {_name(str(each.evidence[FOLLOWS]))}.")
        elif POINTED in each.evidence:
            was = _name(str(each.evidence[POINTED]))
            lines.append(f"{each.title}: shows {_name(each.fault)} here, and not {was}.")
        else:
            lines.append(f"{each.title}: shows {_name(each.fault) if each.fault else 'a defect of its own'}.")
    for name, probability in found.suspects.items():
        lines.append(
            f"{defect(name).name}: no finding that is out of its limits shows it. The values of the other"
            f" findings make it probable ({_percent(probability)})."
        )
    return Step("Conclusion for each", lines)


def _test(test: NextTest | None, found: Reasoning) -> Step:
    if test is None:
        check = defect(found.ranked[0].defects[0]).check
        return Step("Next", ["No further test is needed to separate the hypotheses.", check])
    rows = [
        (outcome[:1].upper() + outcome[1:], "; ".join(_names(each) for each in hypotheses))
        for outcome, hypotheses in test.outcomes.items()
    ]
    line = "Of the tests that the program knows, this one separates the hypotheses best."
    return Step("The next test", [test.do, line], ("What you see", "Speaks for"), rows)


def _value(finding: Finding) -> str:
    return f"{with_uncertainty(finding.value, 2 * finding.u)} {finding.unit}"


def _around(mean_and_spread: tuple[float, float]) -> str:
    return with_uncertainty(mean_and_spread[0], 2 * mean_and_spread[1])


def _factor(factor: float) -> str:
    if factor >= STRONG:
        return f"over {STRONG:.0f}"
    if factor < 1 / STRONG:
        return f"under 1/{STRONG:.0f}"
    return f"{factor:.0f}" if factor >= 10 else f"{factor:.2g}"


def _percent(probability: float) -> str:
    """Return a probability in per cent; never 0 or 100, which nobody can know."""
    percent = 100 * probability
    if percent > 99:
        return "over 99 %"
    return "under 1 %" if percent < 1 else f"{percent:.0f} %"


def _names(names: Sequence[str]) -> str:
    return " + ".join(_name(name) for name in names)


def _name(name: str) -> str:
    text = defect(name).name
    return text[:1].lower() + text[1:]
