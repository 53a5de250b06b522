"""Many more services for messages, by one library that is installed only where it is wanted (extra ``wide``).

The library can read files, start programs of the desktop and reach hosts inside a network, all by what an address
says. So addresses come from the administrator's settings alone, their schemes from a list, files are never
attached, redirects are not followed, and an address inside is used only where it is named.
"""

from __future__ import annotations

import asyncio
import ipaddress
import re
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from importlib.util import find_spec
from typing import Any, Final, TypeAlias

from service.errors import SetupError
from service.log import log
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable

Resolve: TypeAlias = Callable[[str], Awaitable[Sequence[str]]]

LIBRARY: Final = "apprise"
TO_A_HOST: Final = frozenset({"json", "jsons", "xml", "xmls", "form", "forms", "mqtt", "mqtts"})
"""Open forms: what stands where a host stands is one. May always be used."""
NEVER: Final = frozenset(
    {
        "apprise", "apprises", "blink1", "dbus", "file", "gio", "glib", "gnome", "growl", "kde", "macosx", "qt",
        "rsyslog", "syslog", "windows",
    }
)  # fmt: skip
"""What acts on this machine, or hands the message to a further list of addresses."""
_NAMES_INSIDE: Final = (".localhost", ".local", ".internal", ".lan", ".home.arpa")
_INSIDE: Final = 400
_LEADS_INSIDE: Final = "leads inside this network; name its host in hosts_inside if that is meant"
_LONGEST: Final = 200
NOT_INSTALLED: Final = "wide addresses are set, and their library is not installed: install houseband[wide]"
_TITLE: Final = "Houseband"


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """Where to, and what is allowed."""

    urls: Sequence[str] = field(repr=False)
    schemes: frozenset[str] = frozenset()
    """Schemes that the administrator allows beyond the open forms."""
    hosts_inside: frozenset[str] = frozenset()
    """Hosts of the farm's own network that may be reached."""
    timeout_s: float = 20.0

    def __post_init__(self) -> None:
        """Refuse what could only fail at night.

        Raises:
            SetupError: the message says which address by its place, never the address.
        """
        forbidden = sorted(self.schemes & NEVER)
        if forbidden:
            raise SetupError(f"wide schemes cannot be {forbidden[0]}: it acts on this machine")
        for place, url in enumerate(self.urls, start=1):
            scheme = scheme_of(url)
            if scheme in NEVER or scheme not in TO_A_HOST | self.schemes:
                raise SetupError(f"wide address {place} has the scheme {scheme or 'none'!r}, which is not allowed")
        if not self.timeout_s > 0:
            raise SetupError("wide time-out must be above 0 seconds")


def library_is_missing() -> bool:
    """Whether the extra was left out."""
    return find_spec(LIBRARY) is None


def scheme_of(url: str) -> str:
    """The scheme of an address, as the library would read it."""
    found = re.match(r"\s*([A-Za-z0-9]{1,32})://", url)
    return found[1].lower() if found else ""


class WideCarrier:
    """Tells all targets at once."""

    def __init__(self, targets: Targets, *, resolve: Resolve | None = None) -> None:
        """Read the addresses. ``resolve`` turns a name into numbers, by the machine's resolver if not given.

        Raises:
            SetupError: the library is not there, does not understand an address, or the address leads inside.
        """
        if library_is_missing():
            raise SetupError(NOT_INSTALLED)
        self._targets = targets
        self._resolve = resolve or _by_this_machine
        self._services = [_service(place, url, targets) for place, url in enumerate(targets.urls, start=1)]

    async def carry(self, message: Message) -> Outcome:
        told = await asyncio.gather(*(self._tell(service, message) for service in self._services))
        failed = [f"address {place}: {why}" for place, why in enumerate(told, start=1) if why]
        took = f"{len(told) - len(failed)} of {len(told)} addresses took it"
        if len(failed) < len(told):
            return Accepted(detail="; ".join([took, *failed])[:_LONGEST], refused=tuple(failed))
        if all(why == _LEADS_INSIDE for why in told):
            return Refused(protocol="http", status=_INSIDE, detail="; ".join(failed)[:_LONGEST])
        return Unreachable(detail="; ".join([took, *failed])[:_LONGEST])

    async def _tell(self, service: Any, message: Message) -> str:
        """Why it failed, without anything of the address; empty when it did not."""
        try:
            async with asyncio.timeout(self._targets.timeout_s):
                if await self._resolves_inside(service):
                    return _LEADS_INSIDE
                told = await service.async_notify(body=message.text, title=message.subject or _TITLE)
        except TimeoutError:
            return f"no answer within {self._targets.timeout_s:g} s"
        except Exception as error:  # noqa: BLE001 - a plugin of the library must not keep the others
            log.warning("wide address failed", error=type(error).__name__)
            return type(error).__name__
        return "" if told else "did not take it"

    async def _resolves_inside(self, service: Any) -> bool:
        """Names are looked up only where they are hosts: a key is not told to a name server."""
        host = _host(service)
        if host is None or host in self._targets.hosts_inside or service.protocol not in TO_A_HOST:
            return False
        return any(not ipaddress.ip_address(number).is_global for number in await self._resolve(host))


def _service(place: int, url: str, targets: Targets) -> Any:
    library = import_module(LIBRARY)
    asset = library.AppriseAsset(
        plugin_paths=[], storage_mode="memory", allow_templates=False, service_timeout=targets.timeout_s
    )
    service = library.Apprise.instantiate(url, asset=asset)
    if service is None:
        raise SetupError(f"wide address {place} is not understood by the library")
    service.redirects = False  # Also where the address asks for them.
    host = _host(service)
    is_a_host = scheme_of(url) in TO_A_HOST
    if host is not None and host not in targets.hosts_inside and _is_inside(host, is_a_host=is_a_host):
        raise SetupError(f"wide address {place} {_LEADS_INSIDE}")
    return service


def _host(service: Any) -> str | None:
    """Where the library will connect to, if the address says so itself; elsewhere that place may hold a key."""
    host = getattr(service, "host", None)
    return host.lower().strip("[]").removesuffix(".") if isinstance(host, str) and host else None


def _is_inside(host: str, *, is_a_host: bool) -> bool:
    """Whether it is of this machine or network, as far as can be said without asking anybody."""
    try:
        return not ipaddress.ip_address(host).is_global
    except ValueError:
        named = host == "localhost" or host.endswith(_NAMES_INSIDE)
        return named or (is_a_host and ("." not in host or re.fullmatch(r"[0-9a-fx.]+", host) is not None))


async def _by_this_machine(host: str) -> Sequence[str]:
    """Every number of a name; none where nobody knows it, and then nothing can be sent there either."""
    try:
        found = await asyncio.get_running_loop().getaddrinfo(host, None)
    except OSError:
        return ()
    return [str(address[0]).partition("%")[0] for *_, address in found]
