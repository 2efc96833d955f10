"""Read TOML into pydantic models, with errors that name file, line, key and the allowed range."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import CoreSchema, ErrorDetails, core_schema

from strokebench.data.nesting import shallow
from strokebench.errors import BookError, ProfileError

if sys.version_info >= (3, 11):
    import tomllib
else:  # pragma: no cover - exercised by the Python 3.10 job only
    import tomli as tomllib

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler

Model = TypeVar("Model", bound=BaseModel)
Path_ = tuple["str | int", ...]

MOST_BYTES = 512 * 1024
"""The largest profile that is read; a built-in one has 10 kB."""
MOST_DEPTH = 40
MOST_DOTS = 2000
SHOWN = 4
"""Problems of a file that are put into words."""

_HEADER = re.compile(r"\s*(\[\[|\[)\s*([\w.\"-]+)\s*(\]\]|\])")


class Within:
    """Annotation of a number's allowed range; the error states both ends and the unit."""

    def __init__(self, low: float, high: float, unit: str = "") -> None:
        self.low, self.high, self.unit = low, high, unit

    def check(self, value: float) -> float:
        """Return ``value``, or raise ValueError with the allowed range."""
        if not self.low <= value <= self.high:
            raise ValueError(f"must be between {self.low:g} and {self.high:g} {self.unit}".rstrip())
        return value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self.check, handler(source))


def read_text(path: Path) -> str:
    """Return a text file's content; BookError when it cannot be read, ProfileError when it is no text.

    A byte order mark, as some editors put in front, is dropped.
    """
    try:
        if path.exists() and not path.is_file():
            raise BookError(f"{path} is not a file.", "Name a .toml file.")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise ProfileError(
                f"{path} is larger than {MOST_BYTES // 1024} kB, too large for a profile.",
                "Check that it is the right file.",
            )
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        hint = "Check the name; `strokebench parts` lists built-in parts."
        raise BookError(f"There is no file {path}.", hint) from None
    except UnicodeDecodeError:
        raise ProfileError(f"{path} is not UTF-8 text.", "Save the file as UTF-8.") from None
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error.strerror}.", "Check its permissions.") from None


def parse(text: str, name: str) -> dict[str, Any]:
    """Return the table in ``text``; :class:`ProfileError` with file and line when it is not TOML."""
    dots = max((line.count(".") for line in text.splitlines()), default=0)
    if dots >= MOST_DOTS or not shallow(text, MOST_DEPTH):
        raise ProfileError(f"{name}: its brackets or keys are nested too deeply.", "Correct the file.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at (?:line (\d+), column \d+|end of document)\)", str(error))
        at = f", line {found.group(1)}" if found and found.group(1) else ", at its end" if found else ""
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise ProfileError(f"{name}{at}: not valid TOML: {what}.", "Correct that line.") from None
    except (
        ValueError,
        RecursionError,
    ) as error:  # a number of thousands of digits, a key of thousands of dots
        raise ProfileError(
            f"{name}: not usable as TOML: {_first_words(error)}.", "Correct the file."
        ) from None


def _first_words(error: BaseException) -> str:
    return str(error).partition(";")[0].partition("\n")[0][:120]


def validate(model: type[Model], data: dict[str, Any], text: str, name: str) -> Model:
    """Return ``data`` as ``model``; :class:`ProfileError` naming the first wrong key otherwise."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        found = error.errors()
        problems = [_sentence(problem, data, text, name) for problem in found[:SHOWN]]
    more = f" ({len(found) - 1} more problem{'s' * (len(found) > 2)})" if len(found) > 1 else ""
    raise ProfileError(problems[0] + more, "; ".join(problems[1:]) or "Correct that key.")


def _sentence(problem: ErrorDetails, data: dict[str, Any], text: str, name: str) -> str:
    path = _real_path(problem["loc"], data)
    line = find_line(text, path)
    where = f"{name}, line {line}" if line else name
    key = dotted(path) or "the file"
    kind = problem["type"]
    if kind == "missing":
        return f"{where}: {key} is missing."
    if kind == "extra_forbidden":
        return f"{where}: {key} is not a known key."
    message = problem["msg"].removeprefix("Value error, ").rstrip(".")
    shown = problem["input"]
    if isinstance(shown, (dict, list)):
        return f"{where}: {key}: {message}."
    return f"{where}: {key} = {shown!r}: {message[:1].lower()}{message[1:]}."


def _real_path(loc: Path_, data: Any) -> Path_:
    """Drop the union tags that pydantic mixes into a location; keep a missing last key."""
    path: list[str | int] = []
    for number, item in enumerate(loc):
        inside = (isinstance(data, dict) and item in data) or (
            isinstance(data, list) and isinstance(item, int) and item < len(data)
        )
        if inside:
            data = data[item]
            path.append(item)
        elif number == len(loc) - 1:
            path.append(item)
    return tuple(path)


def dotted(path: Path_) -> str:
    """Return ``("a", 2, "b")`` as ``a[3].b`` (counted from 1, as people do)."""
    parts = [f"[{item + 1}]" if isinstance(item, int) else f".{item}" for item in path]
    return "".join(parts).lstrip(".")


def find_line(text: str, path: Path_) -> int:
    """Return the line (from 1) where ``path`` stands in TOML ``text``, of its nearest parent, or 0.

    A best effort on the layout people write: headers, ``key =`` at a line's start, one inline table per line.
    """
    lines = text.splitlines()
    best = 0
    position, end, depth = 0, len(lines), 0
    for start in range(len(path), 0, -1):  # the longest prefix that is a header
        found = _header_line(lines, path[:start])
        if found is not None:
            best, position, depth = found + 1, found + 1, start
            break
    end = next((n for n in range(position, len(lines)) if _HEADER.match(lines[n])), len(lines))
    for item in path[depth:]:
        found = _inside(lines, position, end, item)
        if found is None:
            break
        best, position = found + 1, found
        end = end if isinstance(item, str) else found + 1
    return best


def _header_line(lines: list[str], path: Path_) -> int | None:
    """Find ``[a.b]`` or the n-th ``[[a.b]]`` for ``path``."""
    want = ".".join(item for item in path if isinstance(item, str))
    number = path[-1] if isinstance(path[-1], int) else None
    seen = -1
    for index, line in enumerate(lines):
        match = _HEADER.match(line)
        if match is None or match.group(2).replace('"', "") != want:
            continue
        if number is None and match.group(1) == "[":
            return index
        seen += match.group(1) == "[["
        if number is not None and seen == number:
            return index
    return None


def _inside(lines: list[str], position: int, end: int, item: str | int) -> int | None:
    """Find a key's line, or the n-th line that opens an inline table, from ``position`` to ``end``."""
    if isinstance(item, str):
        key = re.compile(rf"(^|[\s,{{])\"?{re.escape(item)}\"?\s*=")
        return next((n for n in range(position, end) if key.search(lines[n])), None)
    opens = [n for n in range(position, end) if "{" in lines[n].split("#")[0]]
    return opens[item] if item < len(opens) else None
