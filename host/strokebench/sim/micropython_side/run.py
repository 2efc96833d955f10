"""Entry point of the subprocess: ``micropython run.py FOLDER``; FOLDER holds strokefw and these files."""

# Runs in MicroPython, which has no typing: like the firmware, without annotations.
# mypy: ignore-errors

import sys

sys.path[:] = [".frozen", sys.argv[1]]

from pipe_board import PipeBoard  # noqa: E402
from strokefw.app import App  # noqa: E402


def main():
    """Serve one millisecond after the other; SystemExit when the host has gone."""
    board = PipeBoard()
    app = App(board)
    while True:
        board.receive()
        app.tick()
        app.service()
        board.send()


try:
    main()
except Exception as error:  # stdout carries the exchange: what went wrong must not land there
    sys.print_exception(error, sys.stderr)
    sys.exit(1)
