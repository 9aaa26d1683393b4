"""Listens on loopback, watches the case's files, and stops when it is told to."""

import asyncio
import secrets
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

import uvicorn
from starlette.applications import Starlette
from watchfiles import awatch

from loambrief.preview.app import LivePage, application
from loambrief.preview.live import Live

LOOPBACK = "127.0.0.1"
RETRY_S = 1.0
"""Until a folder that is gone is looked for again [s]."""
SETTLE_MS = 150
"""Files saved within this time are one change [ms]."""


async def watch(page: LivePage, stop: asyncio.Event) -> None:
    """Read the case again after each change of a file beside it or one that it names."""
    while not stop.is_set():
        folders = page.live.folders()
        try:
            async for _ in awatch(*folders, recursive=False, debounce=SETTLE_MS, stop_event=stop):
                await page.changed()
                if page.live.folders() != folders:
                    break  # it names files elsewhere now
        except (OSError, RuntimeError, ValueError):  # a folder that went: it may come back
            await asyncio.sleep(RETRY_S)
            await page.changed()


def serve(live: Live, port: int, started: Callable[[str], None]) -> None:
    """Serve until interrupted; port 0 takes a free one.

    ``started`` gets the address with its token, once the server listens.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    with listening:
        listening.bind((LOOPBACK, port))
        listening.listen()  # whoever comes before the server is ready waits
        port = listening.getsockname()[1]
        token, page = secrets.token_urlsafe(24), LivePage(live)

        @asynccontextmanager
        async def watching(app: Starlette) -> AsyncIterator[None]:
            stop = asyncio.Event()
            task = asyncio.create_task(watch(page, stop))
            started(f"http://{LOOPBACK}:{port}/?token={token}")
            yield
            stop.set()
            with suppress(asyncio.CancelledError):
                await task

        hosts = frozenset((f"{LOOPBACK}:{port}", f"localhost:{port}"))
        app = application(page, hosts, token, f"loambrief_{port}", watching)
        uvicorn.Server(uvicorn.Config(
            app, log_level="error", access_log=False, server_header=False,
            timeout_graceful_shutdown=1)).run(sockets=[listening])
