"""A lesson's text: read, with or without its answers, and made into pages.

``python -m strokebench.lessons.text docs/lessons`` runs the lessons and writes pages and pictures.
In a text, an answer stands between ``<details>`` and ``</details>`` and may name numbers of the experiment,
``{peak_a:.3g}``.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from strokebench.lessons import COUNT, check_number, run
from strokebench.lessons.outcome import Outcome

TEXTS = Path(__file__).parent / "texts"
ANSWER = re.compile(
    r"^<details markdown=\"1\"><summary>Answer</summary>\n+(.*?)\n+</details>$", re.MULTILINE | re.DOTALL
)


def raw(number: int) -> str:
    """Return the text as written, answers and all."""
    return (TEXTS / f"lesson-{check_number(number)}.md").read_text(encoding="utf-8")


def title(number: int) -> str:
    """Return the heading."""
    return raw(number).partition("\n")[0].lstrip("# ")


def without_answers(number: int) -> str:
    """Return the text for reading before the experiment."""
    return re.sub(r"\n{3,}", "\n\n", ANSWER.sub("", raw(number))).rstrip() + "\n"


def _filled(text: str, outcome: Outcome) -> str:
    """Put the experiment's numbers into the answers."""
    values = outcome.values
    return ANSWER.sub(lambda match: match.group(0).format_map(values), text)


def with_answers(number: int, outcome: Outcome) -> str:
    """Return the text with the answers in sight, for a terminal."""
    text = _filled(raw(number), outcome)
    return ANSWER.sub(lambda match: f"Answer: {match.group(1)}", text)


def page(number: int, outcome: Outcome) -> str:
    """Return the page of the manual: the text, answers and results folded away."""
    came_out = (
        '\n## What came out\n\n<details markdown="1"><summary>Show it, after writing down the prediction'
        f"</summary>\n\n{outcome.table()}\n\n![{outcome.title}](lesson-{number}.svg)\n\n</details>\n"
    )
    return _filled(raw(number), outcome).rstrip() + "\n" + came_out


def index() -> str:
    """Return the page that lists the lessons."""
    rows = "\n".join(f"{number}. [{title(number)}](lesson-{number}.md)" for number in range(1, COUNT + 1))
    return f"{(TEXTS / 'index.md').read_text(encoding='utf-8').rstrip()}\n\n{rows}\n"


def main(folder: Path, only: list[int]) -> None:
    """Write pages and pictures of all lessons, or of those named."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in only or range(1, COUNT + 1):
        outcome = run(number)
        (folder / f"lesson-{number}.md").write_text(page(number, outcome), encoding="utf-8", newline="\n")
        outcome.save(folder / f"lesson-{number}.svg", replace=True)
    (folder / "index.md").write_text(index(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), [int(word) for word in sys.argv[2:]])
