"""A profile with learnt limits as a file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strokebench.verdict.learning.learn import Learnt


def write_profile(
    output: str,
    source: str,
    learnt: Learnt,
    names: Mapping[str, tuple[str, str]],
    *,
    name: str | None,
    force: bool,
) -> None:
    """Write the profile ``source`` (a built-in part or a file) with learnt limits, then read it as ``run``.

    ``names``: finding -> its title and its unit, for people.
    """
    from strokebench.data.output import write_whole
    from strokebench.parts import load_part, part_names
    from strokebench.parts.toml import parse, read_text
    from strokebench.parts.write import toml_text
    from strokebench.verdict.learning.writing import head, laid_into

    path = Path(output)
    if source in part_names():
        table: dict[str, Any] = {"based_on": source, "part": {}}
    else:
        table = parse(read_text(Path(source)), source)
    called = name or re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-") or "learnt"
    table["part"] = {**table.get("part", {}), "name": called}
    write_whole(path, toml_text(laid_into(table, learnt, names), head(learnt)), replace=force)
    load_part(path)
