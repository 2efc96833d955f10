"""Many pages that watch, until killed: ``python -m tests.helpers.watchers PORT COUNT``."""

from __future__ import annotations

import asyncio
import json
import sys

from websockets.asyncio.client import connect


async def _watch(port: int, number: int, here: asyncio.Semaphore) -> None:
    address = f"ws://127.0.0.1:{port}/lifeline/watcher{number}?role=watch"
    async with connect(address, origin=f"http://127.0.0.1:{port}") as socket:  # type: ignore[arg-type]
        first = True
        async for text in socket:
            await socket.send(json.dumps({"seen": json.loads(text)["n"]}))
            if first:
                here.release()
            first = False


async def _all(port: int, count: int) -> None:
    here = asyncio.Semaphore(0)
    watching = [asyncio.ensure_future(_watch(port, number, here)) for number in range(count)]
    for _ in range(count):
        await here.acquire()
    print("all are here", flush=True)
    await asyncio.gather(*watching)


if __name__ == "__main__":
    asyncio.run(_all(int(sys.argv[1]), int(sys.argv[2])))
