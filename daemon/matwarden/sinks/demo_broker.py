"""A broker inside this process, for the demo and for trying things out: loopback only, anonymous, nothing kept.

It speaks MQTT 3.1.1 only. Not for a house: who has a broker already should use that.
"""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

__all__ = ["DemoBrokerError", "EmbeddedBroker", "embedded_broker"]

_START_S = 10.0
_STOP_S = 5.0


class DemoBrokerError(Exception):
    """The embedded broker cannot run. The text says why and what to do."""


class EmbeddedBroker:
    """A running broker: its address."""

    host = "127.0.0.1"

    def __init__(self, port: int) -> None:
        self.port = port
        self._loop = asyncio.new_event_loop()
        self._done = asyncio.Event()
        self._ready = threading.Event()
        self._problem: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="demo-broker", daemon=True)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve())
        except Exception as problem:  # told to whoever started us: see `embedded_broker`
            self._problem = problem
        finally:
            self._ready.set()
            self._loop.run_until_complete(self._loop.shutdown_asyncgens())
            self._loop.close()

    async def _serve(self) -> None:
        broker = _broker_class()(
            {
                "listeners": {"default": {"type": "tcp", "bind": f"{self.host}:{self.port}"}},
                "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
            }
        )
        await broker.start()
        self._ready.set()
        await self._done.wait()
        await broker.shutdown()
        left = asyncio.all_tasks() - {asyncio.current_task()}
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)
        await asyncio.sleep(0)  # connections just closed are released in the loop's next round

    def start(self) -> None:
        """Serve. Raises DemoBrokerError when the port is taken."""
        self._thread.start()
        started = self._ready.wait(_START_S)
        if self._problem is not None or not started:
            raise DemoBrokerError(
                f"the demo's broker cannot listen on {self.host}:{self.port}"
                f" ({self._problem or 'no answer'}): is the port in use?"
            )

    def stop(self) -> None:
        """End it and everything it retained."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._done.set)
            self._thread.join(_STOP_S)


@contextmanager
def embedded_broker(port: int) -> Iterator[EmbeddedBroker]:
    """A broker on 127.0.0.1 for as long as the block runs.

    Raises:
        DemoBrokerError: its library is not installed, or the port is taken.
    """
    _broker_class()
    for name in ("amqtt", "transitions"):
        logging.getLogger(name).setLevel(logging.CRITICAL)  # it tells of every client; the demo's output is ours
    broker = EmbeddedBroker(port)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def _broker_class() -> Any:
    try:
        from amqtt.broker import Broker
    except ImportError as problem:
        raise DemoBrokerError(
            "the demo's broker needs the extra `demo`: pip install 'matwarden[demo]';"
            " or name a broker of your own in the settings"
        ) from problem

    class ClosingBroker(Broker):  # type: ignore[misc]
        """Closes what the library leaves open when a client was refused or broke off."""

        async def stream_connected(self, reader: Any, writer: asyncio.StreamWriter, listener_name: str) -> None:
            try:
                await super().stream_connected(reader, writer, listener_name)
            finally:
                writer.close()

    return ClosingBroker
