"""Every text of every family, found by listing ``tests/support/every_text``.

A module there has ``EVERY``: by template, what writes all of its texts in one language, in the same order in each.
Where it says ``FIRST_IS_USUAL``, the first text of each template is the one that people usually read.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, TypeAlias

from service.wording.language import LANGUAGES, Language

FOLDER: Final = Path(__file__).parent / "every_text"
Pair: TypeAlias = tuple[str, ...]
"""One text in every language, in the order of ``LANGUAGES``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """One module of texts."""

    name: str
    every: Mapping[str, Callable[[Language], Iterable[str]]]
    first_is_usual: bool


@cache
def families() -> tuple[Family, ...]:
    return tuple(_family(path.stem) for path in sorted(FOLDER.glob("*.py")))


def _family(name: str) -> Family:
    module = importlib.import_module(f"tests.support.every_text.{name}")
    return Family(name=name, every=module.EVERY, first_is_usual=getattr(module, "FIRST_IS_USUAL", False))


@cache
def side_by_side(family: str, template: str) -> tuple[Pair, ...]:
    """Every text of a template, in every language."""
    texts = next(one.every[template] for one in families() if one.name == family)
    return tuple(zip(*(texts(language) for language in LANGUAGES), strict=True))
