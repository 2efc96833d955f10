"""What the page on troubles quotes in italics are the program's own sentences."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "how-to" / "troubleshoot.md"
NOT_OURS = {
    "italics",
    "Ports (COM & LPT)",
    "Other devices",
    "View, Show hidden devices",
    "resets under load",
    "Started after watchdog",
}


def _program() -> str:
    sources = [*(ROOT / "host").rglob("*.py"), *(ROOT / "firmware").rglob("*.py")]
    text = "\n".join(path.read_text(encoding="utf-8") for path in sources)
    return re.sub(r'"\s*\n\s*f?"', "", text)  # sentences over two lines


def test_quoted_sentences_are_the_programs() -> None:
    quoted = set(re.findall(r"(?<!\*)\*([^*\n]+)\*(?!\*)", PAGE.read_text(encoding="utf-8")))
    program = re.sub(r"\{[^}]*\}", " ", _program())
    squeezed = " ".join(program.split())
    missing = [
        quotation for quotation in sorted(quoted - NOT_OURS) if " ".join(quotation.split()) not in squeezed
    ]
    assert len(quoted) > 12 and missing == []


def test_every_symptom_of_the_list_has_a_place() -> None:
    page = PAGE.read_text(encoding="utf-8")
    asked = ("Linux", "macOS", "Windows", "permission", "boot mode", "garbage", "resets under load", "noisy")
    for words in asked:
        assert words in page
