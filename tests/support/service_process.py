"""The real service in a process of its own, to be started, asked and killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from tests.support.ports import accepts, free_port
from tests.support.waiting import until

ROOT = Path(__file__).parents[2]


@dataclass
class ServiceProcess:
    """One Houseband; its folder holds its log and, with SQLite, its database."""

    folder: Path
    settings: dict[str, str]
    port: int = field(default_factory=free_port)
    starts: int = 0
    _process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def start(self) -> None:
        """Start, and return once it answers."""
        self.starts += 1
        own = {f"HOUSEBAND_{name.upper()}": value for name, value in self.settings.items()}
        inherited = {k: v for k, v in os.environ.items() if not k.startswith("HOUSEBAND_")}
        with (self.folder / "service.log").open("ab") as log:
            self._process = subprocess.Popen(  # noqa: ASYNC220 - starting it takes no time worth waiting for
                [sys.executable, "-m", "service", "run"],
                cwd=self.folder,
                env={**inherited, **own, "HOUSEBAND_LISTEN_PORT": str(self.port), "PYTHONPATH": str(ROOT)},
                stdout=log,
                stderr=log,
            )
        what = f"the service in {self.folder.name}"
        await until(self._answers, within_s=30, what=what, every_s=0.1)

    async def _answers(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, (self.folder / "service.log").read_text()[-3000:]
        if not accepts(self.port):
            return False
        try:
            async with httpx.AsyncClient(verify=False) as client:
                await client.get(f"{self.url}/api/state", timeout=5)
        except httpx.HTTPError:
            return False
        return True

    def kill(self) -> None:
        """kill -9."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(timeout=10)

    def stop(self) -> None:
        """End it in good order."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait(timeout=20)
