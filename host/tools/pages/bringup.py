"""The bring-up guide from the steps: ``python -m tools.pages.bringup`` writes docs/bring-up.md."""

from __future__ import annotations

from importlib import resources

from strokebench.bringup.steps import Step, load_steps

from tools import DOCS

READS = {"bench": "the bench reads it", "hand": "you read it", "answer": "you answer"}
SIDES = {"low": "too low", "high": "too high", "any": "it differs", "missing": "there is no reading"}


def _expected(step: Step) -> str:
    unit = f" {step.unit}" if step.unit else ""
    if set(step.expect) == {"all"}:
        return f"{step.expect['all'].text}{unit}"
    names = {"all": "all others", "beginner": "beginner's"}
    return ", ".join(
        f"{names.get(board, board)} {expected.text}{unit}" for board, expected in step.expect.items()
    )


def _section(number: int, step: Step) -> str:
    lines = [f"### {number}. {step.title} (`{step.id}`)\n"]
    if step.only:
        lines.append("Only on the beginner's bench.\n")
    if step.skip:
        lines.append("Not on the beginner's bench.\n")
    if step.caution:
        lines.append(f"**Caution:** {step.caution}\n")
    lines.append(f"{step.do}\n")
    lines.append(f"- Expect ({READS[step.reads]}): **{_expected(step)}**. From: {step.source}.")
    lines += [f"- If {SIDES[side]}: {text}" for side, text in step.differs.items()]
    for own in step.on.values():
        lines.append(f"\nOn the beginner's bench: {own.do}\n")
        if own.caution:
            lines.append(f"**Caution:** {own.caution}\n")
        if own.source:
            lines.append(f"- From: {own.source}.")
        lines += [f"- If {SIDES[side]}: {text}" for side, text in own.differs.items()]
    return "\n".join(lines) + "\n"


def page() -> str:
    """Return the whole guide."""
    head = (resources.files(__package__) / "bringup.md").read_text(encoding="utf-8")
    return head + "\n".join(_section(number, step) for number, step in enumerate(load_steps(), 1))


if __name__ == "__main__":
    (DOCS / "bring-up.md").write_text(page(), encoding="utf-8")
