"""Types of compat.py for the type checker alone: what a viper kernel's pointers can do."""

from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")
F = TypeVar("F", bound=Callable[..., Any])

IS_MICROPYTHON: bool

def const(value: T) -> T: ...

# called to cast, used as annotation, indexed as memory: no Python type is all three
ptr8 = Any
ptr16 = Any
ptr32 = Any

def heap_free() -> int: ...
def halfwords(buffer: Any) -> Any: ...

class micropython:
    @staticmethod
    def viper(function: F) -> F: ...
    @staticmethod
    def native(function: F) -> F: ...

def keep_bound(one: object, *names: str) -> None: ...
def word(place: int) -> Any: ...
