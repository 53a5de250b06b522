"""A real broker on a loopback port, with the durability settings that we ship."""

from __future__ import annotations

import getpass
import shutil
import subprocess
from pathlib import Path

from tests.support.ports import LOOPBACK, accepts, free_port
from tests.support.waiting import until_sync

SHIPPED = Path(__file__).parents[2] / "service" / "broker"
_SYSTEM_PATH = "/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin:/opt/homebrew/sbin"


def find_mosquitto() -> str | None:
    """Return the path of mosquitto; Debian keeps it where an ordinary user's PATH does not look."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path=_SYSTEM_PATH)


class Broker:
    """One mosquitto process. Its port and its stored sessions outlive ``stop`` and ``kill``."""

    def __init__(self, folder: Path, *, port: int | None = None, config: Path | None = None) -> None:
        """Prepare a broker that keeps everything in ``folder``; nothing runs before ``start``."""
        self.host = LOOPBACK
        self.port = port or free_port()
        self.folder = folder
        self.log = folder / "broker.log"
        self._config = config or self._write_config()
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """The running process."""
        assert self._process, "the broker is not running"
        return self._process.pid

    def start(self) -> None:
        """Start, and return once it accepts connections."""
        program = find_mosquitto()
        assert program, "mosquitto is not installed"
        with self.log.open("ab") as log:
            self._process = subprocess.Popen([program, "-c", str(self._config)], stdout=log, stderr=log)
        until_sync(lambda: self._ended() or accepts(self.port), within_s=10, what="the broker's port")
        assert not self._ended(), f"mosquitto ended at once:\n{self.log.read_text()}"

    def stop(self) -> None:
        """End it in good order, as a service manager would."""
        if self._process:
            self._process.terminate()
            self._process.wait(timeout=10)
            self._process = None

    def kill(self) -> None:
        """End it as a power cut would (SIGKILL)."""
        if self._process:
            self._process.kill()
            self._process.wait(timeout=10)
            self._process = None

    def restart(self) -> None:
        """Stop in good order and start again on the same port with the same stored sessions."""
        self.stop()
        self.start()

    def _ended(self) -> bool:
        return self._process is None or self._process.poll() is not None

    def _write_config(self) -> Path:
        """Add to our shipped settings only what differs per test: port, folder, user, no passwords."""
        config = self.folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} {self.host}\n"
            "allow_anonymous true\n"
            f"persistence_location {self.folder}/\n"
            f"user {getpass.getuser()}\n"
            f"include_dir {SHIPPED / 'conf.d'}\n"
        )
        return config
