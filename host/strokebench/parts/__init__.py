"""Built-in parts: one TOML file each, holding limits, sensors, procedure and the limits of its findings."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.errors import ProfileError, UsageError

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

__all__ = ["load_part", "part_names", "profile_of"]


def part_names() -> list[str]:
    """Return the names of the built-in parts, sorted."""
    files = resources.files(__name__).iterdir()
    return sorted(entry.name[:-5] for entry in files if entry.name.endswith(".toml"))


def load_part(name_or_file: str | Path) -> Profile:
    """Return the profile of a built-in part or of a TOML file.

    Raises :class:`UsageError` for an unknown part, :class:`ProfileError` for a malformed file,
    :class:`BookError` for one that cannot be read.
    """
    text, name = _text_of(str(name_or_file))
    return _build(text, name)


def _text_of(name: str) -> tuple[str, str]:
    from strokebench.parts.toml import read_text

    if name.endswith(".toml") or "/" in name or "\\" in name:
        return read_text(Path(name)), name
    if name not in part_names():
        known = ", ".join(part_names())
        raise UsageError(f"There is no part called {name!r}.", f"Known parts: {known}; or give a .toml file.")
    entry = resources.files(__name__) / f"{name}.toml"
    return entry.read_text(encoding="utf-8"), f"{name}.toml"


def _build(text: str, name: str) -> Profile:
    from strokebench.parts.on_bench import on_bench
    from strokebench.parts.profile import Profile
    from strokebench.parts.toml import parse, validate

    data = parse(text, name)
    base = data.pop("based_on", None)
    if base is not None:
        if not isinstance(base, str) or base not in part_names():
            raise ProfileError(
                f"{name}: based_on = {base!r}: must be a built-in part.", ", ".join(part_names())
            )
        data = merged({"part": {"simulate_as": base}}, merged(parse(*_text_of(base)), data))
    profile = validate(Profile, data, text, name)
    variants = [profile, *(on_bench(profile, board) for board in profile.on)]
    problems = [problem for each in variants for problem in each.procedure.problems(each.limits)]
    if problems:
        raise ProfileError(
            f"{name}: {problems[0]}.", "; ".join(problems[1:4]) or "Change it, or the limit if it is wrong."
        )
    return profile


def profile_of(stored: dict[str, Any], name: str) -> Profile:
    """Return the profile that a job book stored with a run; :class:`ProfileError` when it does not fit."""
    from strokebench.parts.profile import Profile
    from strokebench.parts.toml import validate

    return validate(Profile, stored, "", name)


def merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """Return ``base`` with the tables of ``over`` laid over it, key by key; lists are replaced whole."""
    out = dict(base)
    for key, value in over.items():
        both = isinstance(value, dict) and isinstance(out.get(key), dict)
        out[key] = merged(out[key], value) if both else value
    return out
