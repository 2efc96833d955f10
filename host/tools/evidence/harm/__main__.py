"""Search for harm and write docs/protection-search.md.

    python -m tools.evidence.harm [--ticks 100000000] [--seed 1] [--out PAGE] [--stage N]

With another firmware in PYTHONPATH it is that one's protection that is searched.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tools.evidence.harm import page
from tools.evidence.harm.search import PARTS, beyond, search

PAGE = Path(__file__).resolve().parents[4] / "docs" / "protection-search.md"
SAY_EVERY_S = 20.0
REPLUG_SHARE = 0.2
"""Of the ticks, so many are searched with a plug that is pulled and put back, which forgets by design."""


def main(arguments: list[str] | None = None) -> int:
    """Do it; return 1 when a life did more harm than it may, replugging left aside."""
    parser = argparse.ArgumentParser(
        prog="python -m tools.evidence.harm",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--ticks", type=float, default=1e8, help="ticks in all (default: %(default)g)")
    parser.add_argument("--seed", type=int, default=1, help="of the search (default: %(default)s)")
    parser.add_argument("--out", type=Path, default=PAGE, help="page to write (default: the manual's)")
    parser.add_argument(
        "--stage", type=int, action="append", help="only this part, counted from 0; may repeat"
    )
    args = parser.parse_args(arguments)
    parts = tuple(PARTS[number] for number in args.stage) if args.stage else PARTS
    text, holes = page.head(), 0
    for title, share, power_loss in (
        ("All acts except unplugging the bench", 1.0 - REPLUG_SHARE, False),
        ("Unplugging the bench as well", REPLUG_SHARE, True),
    ):
        said_s = time.monotonic()
        for fronts in search(round(args.ticks * share), args.seed, power_loss, parts):
            if time.monotonic() - said_s > SAY_EVERY_S:
                said_s = time.monotonic()
                so_far = text + page.record(title, fronts, args.seed)
                args.out.write_text(so_far.rstrip() + "\n", encoding="utf-8")
                done = sum(front.ticks for front in fronts)
                print(f"{done:,} ticks", *beyond(fronts), sep="\n  ", flush=True)
        text += page.record(title, fronts, args.seed)
        holes += 0 if power_loss else len(beyond(fronts))
        args.out.write_text(text.rstrip() + "\n", encoding="utf-8")
        print(title, *beyond(fronts), sep="\n  ", flush=True)
    return 1 if holes else 0


if __name__ == "__main__":
    sys.exit(main())
