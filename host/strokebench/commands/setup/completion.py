"""Print a shell's completion script.

bash: strokebench completion bash > ~/.local/share/bash-completion/completions/strokebench.
zsh: strokebench completion zsh > a folder of $fpath, as _strokebench. tcsh: source the output.
"""

from __future__ import annotations

import argparse

SHELLS = ("bash", "zsh", "tcsh")


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("shell", choices=SHELLS)


def run(args: argparse.Namespace) -> int:
    """Do it; needs the package shtab (extra ``completion``)."""
    from importlib import import_module

    from strokebench.errors import UsageError

    try:
        shtab = import_module("shtab")
    except ImportError:
        raise UsageError(
            "Completion scripts need the package shtab.", "pip install 'strokebench[completion]'"
        ) from None
    print(shtab.complete(args.parser, shell=args.shell))
    return 0
