"""The command line. Each command is a module in `commands`; heavy imports wait until used."""

from __future__ import annotations

import argparse
import io
import os
import signal
import sys
import threading
from collections.abc import Sequence

from strokebench import __version__
from strokebench.bench.endings import endings
from strokebench.errors import StrokebenchError

EPILOG = """exit codes: 0 pass or done, 1 fail, 2 wrong usage or profile, 3 inconclusive,
4 bench not reached or lost, 5 protection ended the run, 6 file or job book,
7 data not usable, 70 an error of strokebench itself, 130 interrupted"""
UNEXPECTED = 70
"""EX_SOFTWARE of BSD's sysexits: nobody may take an error of ours for a verdict."""


def parser(only: str = "") -> argparse.ArgumentParser:
    """Return the command line's parser, of all commands or of ``only`` one, which is there sooner."""
    from strokebench.commands import ROOM_OF, module_of

    top = argparse.ArgumentParser(
        prog="strokebench",
        description="Stroke a 12 V automotive actuator, measure it, judge it, with the evidence.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"strokebench {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in [only] if only else ROOM_OF:
        command = module_of(name)
        text = (command.__doc__ or "").splitlines()[0].rstrip(".")
        sub = commands.add_parser(name, help=text[:1].lower() + text[1:], description=command.__doc__)
        command.add(sub)
        sub.set_defaults(handler=command.run, parser=top)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; every error ends in one sentence."""
    from strokebench.terminal.plain import plain_streams

    interrupted = _listen()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without our characters is no reason to fail
    words = sys.argv[1:] if argv is None else argv
    args = parser(_only(words)).parse_args(words)
    with plain_streams():
        return _ended(args, interrupted)


def _only(words: Sequence[str]) -> str:
    """Return the command that is meant, empty where the parser of all is needed."""
    from strokebench.commands import ROOM_OF

    return words[0] if words and words[0] in ROOM_OF and words[0] != "completion" else ""


def _ended(args: argparse.Namespace, interrupted: list[int]) -> int:
    """Run the command and return its exit code."""
    as_json = bool(getattr(args, "json", False))
    try:
        return int(args.handler(args))
    except StrokebenchError as error:
        return _tell(str(error), error.hint, error.exit_code, as_json)
    except BrokenPipeError:  # the reader of our output went away
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except SystemExit:
        raise
    except BaseException as error:
        # compiled libraries may turn an interruption into an error of their own
        if isinstance(error, KeyboardInterrupt) or interrupted:
            return _tell("Interrupted; the part is off, what was recorded is kept.", "", 130, as_json)
        return _tell(*_unexpected(error), UNEXPECTED, as_json)


def _unexpected(error: BaseException) -> tuple[str, str]:
    """Keep the traceback in a file; return a sentence and what to do next."""
    import tempfile
    import traceback

    what = f"Something went wrong that should not: {type(error).__name__}. The part is off."
    text = f"strokebench {__version__}, Python {sys.version}, {sys.platform}\n{' '.join(sys.argv)}\n\n"
    text += "".join(traceback.format_exception(type(error), error, error.__traceback__))
    try:
        number, name = tempfile.mkstemp(prefix="strokebench-error-", suffix=".txt")
        with os.fdopen(number, "w", encoding="utf-8", errors="replace") as file:
            file.write(text)
    except OSError:
        return what, "What was recorded is kept. No file with the details could be written."
    return what, f"What was recorded is kept. Please report it with this file: {name}"


def _listen() -> list[int]:
    """Make SIGTERM and a lost terminal as polite as Ctrl-C; return the list that the signals are noted in."""
    noted: list[int] = []

    def interrupt(number: int, _frame: object) -> None:
        noted.append(number)
        raise KeyboardInterrupt

    if threading.current_thread() is threading.main_thread():
        for number in endings():
            signal.signal(number, interrupt)
    return noted


def _tell(sentence: str, hint: str, code: int, as_json: bool) -> int:
    """Say what went wrong, if anybody can still read it; return ``code``."""
    import contextlib

    with contextlib.suppress(OSError):  # the terminal may be gone
        if as_json:
            from strokebench.commands.shared.common import print_json

            print_json({"error": sentence, "hint": hint, "exit_code": code})
        else:
            from strokebench.terminal.error_text import complain

            complain(sentence, hint)
    return code


if __name__ == "__main__":
    sys.exit(main())
