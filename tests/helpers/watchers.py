"""Many pages that watch, until killed: ``python -m tests.helpers.watchers PORT COUNT``.

Like a real page, a watcher that is turned away or loses its line comes again after 0.7 s: so many at once are
more than the panel lets one address have at its door.
"""

from __future__ import annotations

import asyncio
import json
import sys

from websockets.asyncio.client import connect
from websockets.exceptions import WebSocketException

AGAIN_S = 0.7
ALL_HERE_S = 60.0


async def _watch(port: int, number: int, here: set[int]) -> None:
    address = f"ws://127.0.0.1:{port}/lifeline/watcher{number}?role=watch"
    while True:
        try:
            async with connect(address, origin=f"http://127.0.0.1:{port}") as socket:  # type: ignore[arg-type]
                async for text in socket:
                    await socket.send(json.dumps({"seen": json.loads(text)["n"]}))
                    here.add(number)
        except (OSError, WebSocketException, EOFError):
            pass
        here.discard(number)
        await asyncio.sleep(AGAIN_S)


async def _all(port: int, count: int) -> None:
    here: set[int] = set()
    watching = [asyncio.ensure_future(_watch(port, number, here)) for number in range(count)]

    async def come() -> None:
        while len(here) < count:
            await asyncio.sleep(0.05)

    try:
        await asyncio.wait_for(come(), ALL_HERE_S)
    except asyncio.TimeoutError:
        sys.exit(f"only {len(here)} of {count} pages were let in")
    print("all are here", flush=True)
    await asyncio.gather(*watching)


if __name__ == "__main__":
    asyncio.run(_all(int(sys.argv[1]), int(sys.argv[2])))
