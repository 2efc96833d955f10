"""Two shops' profiles become one: from what they keep of their good parts, without the recordings."""

from __future__ import annotations

from collections.abc import Sequence

from strokebench.errors import DataError
from strokebench.parts.profile import Profile
from strokebench.verdict.learning.learn import Learnt, counted_apart, kept_sums, limits_from
from strokebench.verdict.learning.readings import learnable
from strokebench.verdict.learning.sums import Sums


def merge(first: Profile, second: Profile, keep: Sequence[str] = ()) -> Learnt:
    """Return what was learnt from the good parts of both, as if they had been learnt from together.

    ``keep``: serial numbers that both use for different parts. Raises :class:`DataError` for profiles that do
    not belong together, that were not learnt, or that share a part.
    """
    if first.learnt is None or second.learnt is None:
        which = first if first.learnt is None else second
        raise DataError(f"{which.name} was not learnt from good parts.", "Make it with strokebench learn.")
    counted_apart(first)
    counted_apart(second)
    for what, mine, other in (
        ("kinds of part", first.kind, second.kind),
        ("procedures", first.procedure, second.procedure),
    ):
        if mine != other:
            raise DataError(
                f"{first.name} and {second.name} are of different {what}.",
                "Merge those that belong together.",
            )
    _apart(first, second, keep)
    ours, theirs = kept_sums(first), kept_sums(second)
    sums = {
        key: (ours.get(key, (Sums(), scale))[0].merged(theirs.get(key, (Sums(), scale))[0]), scale)
        for key, scale in learnable(first).items()
    }
    return limits_from(sums, first, [*first.learnt.parts, *second.learnt.parts])


def _apart(first: Profile, second: Profile, keep: Sequence[str]) -> None:
    assert first.learnt is not None and second.learnt is not None
    both = {part.serial for part in first.learnt.parts} & {part.serial for part in second.learnt.parts}
    shared = sorted(both - set(keep))
    if shared:
        numbers = ",".join(shared)
        raise DataError(
            f"Both profiles count a part {', '.join(shared)}; a part counts once.",
            f"If these are different parts with one number, say so: --keep {numbers}",
        )
