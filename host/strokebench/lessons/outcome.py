"""What an experiment leaves: numbers with units and words, and how to draw them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.data.output import output_file
from strokebench.errors import UsageError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ENDINGS = (".svg", ".png", ".pdf")


@dataclass(frozen=True)
class Number:
    """One value in ``unit``; ``title`` says what it is."""

    key: str
    title: str
    value: float
    unit: str

    @property
    def text(self) -> str:
        """Value to four figures with its unit."""
        return f"{self.value:.4g} {self.unit}".rstrip()


@dataclass(frozen=True)
class Outcome:
    """``numbers`` in the order to be read; ``draw`` fills an empty figure."""

    title: str
    numbers: Sequence[Number]
    draw: Callable[[Figure], None]

    @property
    def values(self) -> dict[str, float]:
        """Key -> value."""
        return {number.key: number.value for number in self.numbers}

    def table(self) -> str:
        """Markdown table."""
        rows = [f"| {number.title} | {number.text} |" for number in self.numbers]
        return "\n".join(["| what | value |", "| --- | --- |", *rows])

    def lines(self) -> list[str]:
        """For a terminal of 80 columns."""
        width = min(56, max(len(number.title) for number in self.numbers))
        return [f"  {number.title:<{width}}  {number.text}" for number in self.numbers]

    def save(self, path: Path, *, replace: bool = False) -> None:
        """Draw into an SVG, PNG or PDF file; UsageError for other endings, BookError for a bad place."""
        if path.suffix.lower() not in ENDINGS:
            raise UsageError(
                f"A plot cannot be written as {path.name!r}.", f"Use one of {', '.join(ENDINGS)}."
            )
        import matplotlib
        from matplotlib.figure import Figure

        figure = Figure(figsize=(8, 5), layout="constrained")
        self.draw(figure)
        figure.suptitle(self.title)
        name = f"strokebench lesson: {self.title}"
        known: dict[str, Any] = {"Title": name, **({"Date": None} if path.suffix.lower() == ".svg" else {})}
        style = {"svg.hashsalt": "lesson", "path.simplify_threshold": 1.0}
        with output_file(path, replace=replace, mark=name) as partial, matplotlib.rc_context(style):
            figure.savefig(partial, metadata=known)
