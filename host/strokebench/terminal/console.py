"""Tables and colours for a terminal, made of plain text."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import Any, TextIO

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from strokebench.terminal.plain import plain


class PlainConsole(Console):
    """A rich console that makes plain what it is given to print."""

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield the segments of ``renderable``; those that steer the cursor are rich's own."""
        for segment in super().render(renderable, options):
            if segment.control:
                yield segment
            else:
                yield Segment(plain(segment.text), segment.style)


def console(*, stderr: bool = False, file: TextIO | None = None, **options: Any) -> Console:
    """Return a console for standard output or standard error, or for ``file``."""
    stream = file or (sys.stderr if stderr else sys.stdout)
    return PlainConsole(file=getattr(stream, "beneath", stream), **options)
