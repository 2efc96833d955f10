"""Object code: made by LLVM, kept in the user's cache, loaded into this process."""

from __future__ import annotations

import ctypes
import hashlib
import os
import sys
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import llvmlite
import llvmlite.binding as llvm

from strokebench.sim.fast.machine import Module

CACHE_VARIABLE = "STROKEBENCH_CACHE"
"""Environment variable with another folder for object code."""
KEPT = 60
"""Files in the cache; when there are more, the oldest go."""
_DIGEST_BYTES = 32
_loaded: dict[str, Any] = {}


def cache_folder() -> Path:
    """Return the folder for object code, which may not exist."""
    if os.environ.get(CACHE_VARIABLE):
        return Path(os.environ[CACHE_VARIABLE])
    if sys.platform == "win32":
        home = Path(os.environ.get("LOCALAPPDATA", tempfile.gettempdir()))
    elif sys.platform == "darwin":
        home = Path.home() / "Library" / "Caches"
    else:
        home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return home / "strokebench"


@cache
def _target(effort: int) -> llvm.TargetMachine:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple()
    cpu, features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
    return target.create_target_machine(
        cpu=cpu, features=features, opt=effort, reloc="static", codemodel="large", jit=True
    )


def _key(text: str, effort: int) -> str:
    """Return what object code of a flat module is known by on this computer."""
    with open(Module.__init__.__code__.co_filename, "rb") as maker:
        parts = text, effort, llvmlite.__version__, sys.version, llvm.get_host_cpu_name(), maker.read()
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def _object_code(text: str, entry: str, kinds: str, effort: int) -> bytes:
    """Return the object code of function ``entry``, which takes the memories and integers."""
    made = Module(text)
    made.function(entry, tuple(kinds), linkage="external")
    module = llvm.parse_assembly(str(made.ir))
    module.verify()
    target = _target(effort)
    if effort:
        options = llvm.create_pipeline_tuning_options(speed_level=effort)
        builder = llvm.create_pass_builder(target, options)
        builder.getModulePassManager().run(module, builder)
    code: bytes = target.emit_object(module)
    return code


def _kept(path: Path) -> bytes | None:
    """Return object code from the cache; None when there is none or it is damaged."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    code = data[_DIGEST_BYTES:]
    return code if hashlib.sha256(code).digest() == data[:_DIGEST_BYTES] else None


def _keep(path: Path, code: bytes) -> None:
    """Put object code into the cache; without a place for it, it is made anew each time."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            file.write(hashlib.sha256(code).digest() + code)
        os.replace(file.name, path)
        for old in sorted(path.parent.glob("*.o"), key=lambda each: each.stat().st_mtime)[:-KEPT]:
            old.unlink()


def function(text: str, entry: str, kinds: str, effort: int = 0) -> Any:
    """Return a flat module's function ``entry`` for ctypes: addresses of the memories, then integers.

    ``effort`` is LLVM's: 0 takes half a second and gives some 0.4 us a tick, 2 takes three and gives 0.1.
    """
    key = _key(text, effort)
    if key not in _loaded:
        path = cache_folder() / f"{key}.o"
        code = _kept(path)
        if code is None:
            code = _object_code(text, entry, kinds, effort)
            _keep(path, code)
        engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target(effort))
        engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        engine.finalize_object()
        prototype = ctypes.CFUNCTYPE(
            ctypes.c_int64, ctypes.c_void_p, ctypes.c_void_p, *([ctypes.c_int64] * len(kinds))
        )
        _loaded[key] = engine, prototype(engine.get_function_address(entry))
    return _loaded[key][1]
