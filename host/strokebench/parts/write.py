"""A part profile as TOML that a person can go on editing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any


def toml_text(table: dict[str, Any], head: str = "") -> str:
    """Return ``table`` as TOML, ``head`` as comment lines above it; None values are left out."""
    comment = [f"# {line}".rstrip() for line in head.splitlines()]
    return "\n".join([*comment, *_lines(table, ())]).strip() + "\n"


def _lines(table: dict[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    """Yield plain keys first, then tables and arrays of tables, as TOML wants it."""
    plain = {key: value for key, value in table.items() if value is not None and not _is_table(value, path)}
    if path and (plain or not table):
        yield ""
        yield f"[{'.'.join(map(_key, path))}]"
    for key, value in plain.items():
        yield f"{_key(key)} = {_value(value)}"
    for key, value in table.items():
        if value is None or key in plain:
            continue
        if isinstance(value, dict):
            yield from _lines(value, (*path, key))
            continue
        for item in value:
            yield ""
            yield f"[[{'.'.join(map(_key, (*path, key)))}]]"
            yield from (f"{_key(k)} = {_value(v)}" for k, v in item.items() if v is not None)


def _is_table(value: Any, path: tuple[str, ...]) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else json.dumps(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None)
        return f"{{ {inside} }}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
