"""A serial line, read and written without blocking anybody else, by the standard library.

It is opened for one conversation and closed after: a modem that was pulled out and put back is found again by that
alone, and nothing that it said meanwhile is taken for an answer.
"""

from __future__ import annotations

import asyncio
import errno
import fcntl
import os
import termios
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final, Self

_AT_A_TIME: Final = 4096
_MOST_WAITING: Final = 200_000
"""More than any answer: a line that babbles must not fill the memory."""
_CONTROL, _SPEED_IN, _SPEED_OUT = 2, 4, 5
"""Places in what ``tcgetattr`` returns."""


class LineLost(OSError):  # noqa: N818 - reads as the sentence it is
    """The device is gone."""


class SerialLine:
    """An open line. What comes waits in ``waiting`` until somebody takes it."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._loop = asyncio.get_running_loop()
        self._moved = asyncio.Event()
        self._trouble: OSError | None = None
        self.waiting = bytearray()

    @classmethod
    @contextmanager
    def opened(cls, device: Path, speed: int) -> Iterator[Self]:
        """The device for this block, for nobody else.

        Raises:
            OSError: it is not there, or in use.
        """
        descriptor = os.open(device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            _prepare(descriptor, speed)
            line = cls(descriptor)
            line._loop.add_reader(descriptor, line._read)
            try:
                yield line
            finally:
                line._loop.remove_reader(descriptor)
                line._loop.remove_writer(descriptor)
        finally:
            os.close(descriptor)

    async def write(self, said: bytes) -> None:
        """Hand all of it to the device.

        Raises:
            OSError: the device is gone.
        """
        left = said
        while left:
            try:
                left = left[os.write(self._descriptor, left) :]
            except BlockingIOError:
                await self._writable()

    async def more(self) -> None:
        """Wait until something came since the last call.

        Raises:
            OSError: the device is gone.
        """
        await self._moved.wait()
        self._moved.clear()
        if self._trouble is not None:
            raise self._trouble

    async def _writable(self) -> None:
        free = asyncio.Event()
        self._loop.add_writer(self._descriptor, free.set)
        try:
            await free.wait()
        finally:
            self._loop.remove_writer(self._descriptor)

    def _read(self) -> None:
        try:
            came = os.read(self._descriptor, _AT_A_TIME)
            if not came or len(self.waiting) > _MOST_WAITING:
                raise LineLost(errno.EIO, "the line ended" if not came else "the line babbles")
            self.waiting += came
        except BlockingIOError:
            return
        except OSError as trouble:
            self._trouble = trouble
            self._loop.remove_reader(self._descriptor)
        self._moved.set()


def _prepare(descriptor: int, speed: int) -> None:
    """Raw, at a speed, ours alone, and without what was said before we came."""
    with suppress(OSError):  # Not every device can be held; asking costs nothing.
        fcntl.ioctl(descriptor, termios.TIOCEXCL)
    try:
        tty.setraw(descriptor, termios.TCSANOW)
        attributes = termios.tcgetattr(descriptor)
        attributes[_CONTROL] |= termios.CLOCAL | termios.CREAD
        attributes[_CONTROL] &= ~termios.HUPCL  # Closing must not hang the modem up.
        attributes[_SPEED_IN] = attributes[_SPEED_OUT] = getattr(termios, f"B{speed}")
        termios.tcsetattr(descriptor, termios.TCSANOW, attributes)
        termios.tcflush(descriptor, termios.TCIOFLUSH)
    except termios.error as trouble:  # Not an OSError, though it has the same parts.
        raise LineLost(*trouble.args) from trouble
