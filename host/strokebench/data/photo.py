"""Photos as they are kept and shown: checked, turned upright, made small, free of what else a file has.

A photo of a telephone says where it was taken; a file of a stranger may hold anything behind its picture.
So the picture is decoded and written anew.
"""

from __future__ import annotations

import base64
import io
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path

from strokebench.errors import BookError, DataError

LONGEST_FILE = 25 * 1024 * 1024
"""Bytes of a file that is taken at most."""
MOST_PIXELS = 60_000_000
LONGEST_SIDE = 1600
"""Pixels of a kept photo's longer side at most: sharp on paper at 13 cm width."""
LONGEST_KEPT = 4 * 1024 * 1024
SMALL_PNG = 400 * 1024
"""A drawing or a logo stays a PNG up to so many bytes, what is larger becomes a JPEG."""
MARKS = {"jpeg": b"\xff\xd8\xff", "png": b"\x89PNG\r\n\x1a\n"}


@dataclass(frozen=True)
class Photo:
    """A picture: ``kind`` "jpeg" or "png", and its bytes."""

    kind: str
    data: bytes

    @property
    def usable(self) -> bool:
        """True when it is what its kind says and not too large."""
        mark = MARKS.get(self.kind)
        return mark is not None and self.data.startswith(mark) and len(self.data) <= LONGEST_KEPT

    @property
    def address(self) -> str:
        """The picture as an address to put into a page, so that the page loads nothing."""
        return f"data:image/{self.kind};base64,{base64.b64encode(self.data).decode()}"


def read_photo(path: str | Path) -> tuple[Photo, bytes]:
    """Return the picture of a JPEG or PNG file, made small, and the file's bytes.

    Raises :class:`BookError` when the file cannot be read, :class:`DataError` when it is no such picture.
    """
    path = Path(path)
    try:
        if not path.is_file():
            raise BookError(f"There is no file {path}.", "Check the name.")
        with path.open("rb") as file:
            data = file.read(LONGEST_FILE + 1)
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error.strerror}.", "Check its permissions.") from None
    return prepared(data, path.name), data


def prepared(data: bytes, name: str, longest: int = LONGEST_SIDE) -> Photo:
    """Return the picture in ``data``, upright, at most ``longest`` pixels long; DataError when it is none."""
    if len(data) > LONGEST_FILE:
        size = f"{LONGEST_FILE // 1024**2} MB"
        raise DataError(f"{name} is larger than {size}.", "Take a smaller picture.")
    if not any(data.startswith(mark) for mark in MARKS.values()):
        raise DataError(f"{name} is no JPEG or PNG picture.", "Save it as JPEG or PNG.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return _made_small(data, longest)
    except _TooManyPixels as error:
        most = f"{MOST_PIXELS // 1_000_000} million"
        raise DataError(f"{name} has {error} pixels, more than {most}.", "Take a smaller picture.") from None
    except (OSError, ValueError, SyntaxError, EOFError, ArithmeticError, struct.error, zlib.error, Warning):
        raise DataError(f"{name} is damaged: it cannot be shown.", "Take the picture anew.") from None


class _TooManyPixels(Exception):
    """A picture that would fill the memory."""


def _made_small(data: bytes, longest: int) -> Photo:
    from PIL import Image, ImageOps

    try:
        opened = Image.open(io.BytesIO(data), formats=("JPEG", "PNG"))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise _TooManyPixels("far too many") from None
    with opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise _TooManyPixels(f"{opened.width * opened.height:,}")
        png = opened.format == "PNG"
        upright = ImageOps.exif_transpose(opened)
        upright.thumbnail((longest, longest))
        if png:
            target = io.BytesIO()
            upright.convert("RGBA").save(target, "PNG", optimize=True)
            if target.tell() <= SMALL_PNG:
                return Photo("png", target.getvalue())
        target = io.BytesIO()
        flat = Image.new("RGB", upright.size, "white")
        seen = upright.convert("RGBA")
        flat.paste(seen, mask=seen.getchannel("A"))
        flat.save(target, "JPEG", quality=85, optimize=True)
        return Photo("jpeg", target.getvalue())
