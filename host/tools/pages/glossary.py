"""Links to the glossary where a page uses one of its words; ``python -m tools.pages.glossary`` adds them.

Pages for readers of the manual are looked at; pages that programs make, decisions and the reference are not.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from tools import DOCS

GLOSSARY = "reference/glossary.md"
WORDS = {
    "back-emf": r"back-EMF",
    "burst": r"bursts?",
    "dead-man": r"dead-man",
    "dead-time": r"dead time",
    "diffusion-time": r"diffusion time",
    "egr": r"EGR valves?",
    "emulated-chip": r"emulated (?:chip|Pico|RP2040)",
    "finding": r"findings?",
    "fold-back": r"fold-back",
    "golden-part": r"golden parts?",
    "guard-band": r"guard[- ]band(?:s|ed)?",
    "h-bridge": r"H-bridge",
    "heartbeat": r"heartbeat",
    "i2t": r"I2t",
    "inrush": r"inrush",
    "job-book": r"job books?",
    "latch": r"latche[sd]|latch",
    "plant": r"plants?",
    "profile": r"profiles?",
    "pwm": r"PWM",
    "ripple": r"ripples?",
    "seal": r"sealed|seals?",
    "segment": r"segments?",
    "self-test": r"self-tests?",
    "slew": r"slew",
    "specimen": r"specimens?",
    "u": r"expanded uncertainty",
}
"""Anchor in the glossary -> the words that mean it wherever they are used.

Words with a second meaning in plain English (drive, run, job, track) are linked by hand.
"""
FOLDERS = ("tutorial", "how-to", "explanation")
PAGES = ("safety.md", "panel.md", "simulation.md", "teacher/timetable.md", "teacher/hidden-defects.md")
NOT_PROSE = re.compile(
    r"^```.*?^```$|<!-- begin.*?<!-- end|^#[^\n]*$|`[^`\n]*`|!?\[[^\]]*\]\([^)]*\)|"
    r"<[^>\n]*>|(?<!\*)\*[^*\n]+\*(?!\*)|^ {4,}[^\n]*$",
    re.MULTILINE | re.DOTALL,
)


def pages() -> list[Path]:
    """Return the pages that are looked at."""
    return [*(page for folder in FOLDERS for page in sorted((DOCS / folder).glob("*.md"))),
            *(DOCS / name for name in PAGES)]  # fmt: skip


def missing(text: str) -> dict[str, int]:
    """Return the words that a page uses without a link to them: anchor -> place of the first use."""
    prose = NOT_PROSE.sub(lambda found: " " * len(found[0]), text)
    linked = set(re.findall(r"glossary\.md#([\w-]+)\)", text))
    found = {}
    for anchor, words in WORDS.items():
        use = re.search(rf"(?<![\w*-])(?:{words})(?![\w-])", prose, re.IGNORECASE)
        if use and anchor not in linked:
            found[anchor] = use.start()
    return found


def linked(text: str, page: Path) -> str:
    """Return the page with a link at the first use of each word that has none."""
    target = os.path.relpath(DOCS / GLOSSARY, page.parent).replace(os.sep, "/")
    for anchor, start in sorted(missing(text).items(), key=lambda each: -each[1]):
        word = re.compile(WORDS[anchor], re.IGNORECASE).match(text, start)
        assert word
        text = f"{text[:start]}[{word[0]}]({target}#{anchor}){text[word.end() :]}"
    return text


if __name__ == "__main__":
    for page in pages():
        page.write_text(linked(page.read_text(encoding="utf-8"), page), encoding="utf-8")
