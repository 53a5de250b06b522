"""One table of a profile file, read key by key; whatever is wrong is named with file, stage and key."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from rules.profile import ProfileError

TEXT_NAME_LENGTH: Final = 10

BASIC_TEXT_ALPHABET: Final = frozenset(
    "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""GSM 7-bit default alphabet of 3GPP TS 23.038, 6.2.1, without its control characters (from memory)."""

_LARGEST: Final = 1e9  # beyond any figure of a growing room; also keeps whole numbers of any length out of floats


@dataclass(frozen=True, slots=True)
class Place:
    """Where in which file we are reading."""

    file: str
    stage: str = ""
    key: str = ""

    def at(self, key: str) -> Place:
        """The place of a key inside this one."""
        return replace(self, key=f"{self.key}.{key}" if self.key else key)

    def error(self, problem: str) -> ProfileError:
        """What to raise about this place."""
        return ProfileError(problem, file=self.file, stage=self.stage, key=self.key)


@dataclass(frozen=True, slots=True)
class Table:
    """A TOML table with its place. Every getter raises :class:`ProfileError` at the key it was asked for."""

    content: Mapping[str, object]
    place: Place

    def __contains__(self, key: str) -> bool:
        """True when the key is there, whatever it holds."""
        return key in self.content

    def __iter__(self) -> Iterator[str]:
        """The keys in the order of the file."""
        return iter(self.content)

    def only(self, *known: str) -> None:
        """Refuse keys that are not known here, so that a mistyped limit is never just absent."""
        for key in self.content:
            if key not in known:
                raise self.place.at(key).error(f"unknown key; known here: {', '.join(known)}")

    def refuse(self, keys: Iterable[str], because: str) -> None:
        """Refuse these keys with a reason of their own."""
        for key in keys:
            if key in self.content:
                raise self.place.at(key).error(because)

    def text(self, key: str, *, absent: str | None = None) -> str:
        """Some text; ``absent`` stands in for a missing key (``None``: the key must be there)."""
        if key not in self.content and absent is not None:
            return absent
        value = self._get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.place.at(key).error("must be text in quotes, not empty")
        return value

    def text_name(self, key: str) -> str:
        """A name that stands in text messages."""
        name = self.text(key)
        strange = sorted(set(name) - BASIC_TEXT_ALPHABET)
        if strange:
            listed = " ".join(ascii(letter) for letter in strange)
            raise self.place.at(key).error(f"{listed} is not in the basic text alphabet (GSM 7-bit)")
        if len(name) > TEXT_NAME_LENGTH or name != name.strip():
            raise self.place.at(key).error(
                f"must be at most {TEXT_NAME_LENGTH} characters, with no space at either end"
            )
        return name

    def number(self, key: str) -> float:
        """A finite number."""
        value = self._get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= _LARGEST:
            raise self.place.at(key).error("must be a finite number")
        return float(value)

    def positive(self, key: str) -> float:
        """A finite number above zero."""
        value = self.number(key)
        if value <= 0:
            raise self.place.at(key).error("must be above zero")
        return value

    def flag(self, key: str) -> bool:
        """True or false; false when the key is missing."""
        value = self.content.get(key, False)
        if not isinstance(value, bool):
            raise self.place.at(key).error("must be true or false")
        return value

    def whole(self, key: str) -> int:
        """A whole number of at least one."""
        value = self.positive(key)
        if value != int(value):
            raise self.place.at(key).error("must be a whole number")
        return int(value)

    def table(self, key: str) -> Table:
        """The table below ``key``."""
        value = self._get(key)
        if not isinstance(value, dict):
            raise self.place.at(key).error("must be a table")
        return Table(value, self.place.at(key))

    def tables(self, key: str) -> tuple[Table, ...]:
        """The tables of the list below ``key``; none when the key is missing."""
        value = self.content.get(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            raise self.place.at(key).error("must be a list of tables")
        return tuple(Table(entry, self.place.at(f"{key}[{n}]")) for n, entry in enumerate(value, start=1))

    def _get(self, key: str) -> object:
        if key not in self.content:
            raise self.place.at(key).error("is missing")
        return self.content[key]
