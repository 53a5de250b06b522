"""A real PostgreSQL of our own: temporary, on a loopback port, never as root."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

from tests.support.ports import LOOPBACK, accepts, free_port
from tests.support.waiting import until_sync

_ROLE = "houseband"
_UNPRIVILEGED = "postgres"
_DEBIAN = Path("/usr/lib/postgresql")


def find_binaries() -> Path | None:
    """Return the folder of ``initdb`` and ``postgres``; of several versions the newest."""
    on_path = shutil.which("initdb")
    if on_path and (Path(on_path).resolve().parent / "postgres").exists():
        return Path(on_path).resolve().parent
    found = [path.parent for path in _DEBIAN.glob("*/bin/initdb")]
    return max(found, key=lambda folder: float(folder.parent.name), default=None)


class PostgresServer:
    """One server process. ``durable=False`` trades crash safety for speed; kill tests must not use it."""

    def __init__(self, *, durable: bool = False) -> None:
        """Prepare a server; nothing is created before ``start``."""
        binaries = find_binaries()
        assert binaries, "PostgreSQL is not installed"
        self.port = free_port()
        self._binaries = binaries
        self._durable = durable
        # initdb and postgres refuse to run as root, which is what build machines often are.
        self._user = _UNPRIVILEGED if os.geteuid() == 0 else None
        # Directly under the system's temporary folder: pytest's own folders are closed to other users.
        self._home = Path(tempfile.mkdtemp(prefix="houseband-postgres-"))
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """The running server process."""
        assert self._process, "the server is not running"
        return self._process.pid

    def start(self) -> None:
        """Create the data folder on first use, start, and return once queries are answered."""
        data = self._home / "data"
        if not data.exists():
            if self._user:
                shutil.chown(self._home, self._user)
            self._run("initdb", "-D", str(data), "-U", _ROLE, "-A", "trust", "-E", "UTF8", "--no-locale", "-N")
        with (self._home / "server.log").open("ab") as log:
            self._process = subprocess.Popen(
                self._command(data), stdout=log, stderr=log, user=self._user, cwd=self._home
            )
        until_sync(self._ready, within_s=30, what="PostgreSQL")

    def stop(self) -> None:
        """End it at once, in good order (a "fast" shutdown)."""
        if self._process:
            self._process.send_signal(signal.SIGINT)
            self._process.wait(timeout=30)
            self._process = None

    def kill(self) -> None:
        """End it as a power cut would; start() then recovers from the log, if ``durable``."""
        if self._process:
            # SIGKILL of the first process leaves its children, which end when they notice; SIGQUIT tells them.
            self._process.send_signal(signal.SIGQUIT)
            self._process.wait(timeout=30)
            self._process = None

    def remove(self) -> None:
        """Stop and delete everything."""
        self.stop()
        shutil.rmtree(self._home, ignore_errors=True)

    def create_database(self, name: str, *, like: str = "template1") -> str:
        """Create a database, empty or a copy of another, and return its URL for SQLAlchemy with asyncpg."""
        if not re.fullmatch(r"[a-z_][a-z0-9_]{0,62}", name):
            raise ValueError(f"not a plain database name: {name!r}")
        self._sql(f'CREATE DATABASE "{name}" TEMPLATE "{like}"')
        return self.database_url(name)

    def database_url(self, name: str) -> str:
        """The address of a database on this server."""
        return f"postgresql+asyncpg://{_ROLE}@{LOOPBACK}:{self.port}/{name}"

    def drop_database(self, name: str) -> None:
        """Remove a database, and whoever is still connected to it."""
        self._sql(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    def _sql(self, statement: str) -> None:
        self._run(
            "psql", "-h", LOOPBACK, "-p", str(self.port), "-U", _ROLE, "-d", "postgres", "-X", "-q",
            "-v", "ON_ERROR_STOP=1", "-c", statement,
        )  # fmt: skip

    def _command(self, data: Path) -> list[str]:
        settings = {
            "listen_addresses": LOOPBACK,
            "port": str(self.port),
            "unix_socket_directories": "",
            "max_connections": "100",
        }
        if not self._durable:
            settings |= {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
        pairs = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        return [str(self._binaries / "postgres"), "-D", str(data), *pairs]

    def _ready(self) -> bool:
        assert self._process
        if self._process.poll() is not None:
            raise AssertionError(f"postgres ended at once:\n{(self._home / 'server.log').read_text()}")
        if not accepts(self.port):
            return False
        done = subprocess.run(
            [self._binaries / "pg_isready", "-q", "-h", LOOPBACK, "-p", str(self.port)], check=False
        )
        return done.returncode == 0

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [str(self._binaries / program), *arguments],
            user=self._user, cwd=self._home, check=False, capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode == 0, f"{program} failed:\n{done.stdout}{done.stderr}"
