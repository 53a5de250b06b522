"""A report as a mail: subject, plain text, and the same as HTML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined


@dataclass(frozen=True, slots=True, kw_only=True)
class Mail:
    """What is sent."""

    subject: str
    text: str
    html: str


def _templates(*, autoescape: bool) -> Environment:
    return Environment(
        loader=PackageLoader("service.reports"),
        autoescape=autoescape,  # noqa: S701 - plain text has nothing to escape
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


_PLAIN = _templates(autoescape=False)
_HTML = _templates(autoescape=True)


def written_mail(template: str, content: Mapping[str, Any]) -> Mail:
    """Fill in ``template.txt`` and ``template.html``; ``content`` holds the subject as well."""
    return Mail(
        subject=content["subject"],
        text=_PLAIN.get_template(f"{template}.txt").render(content),
        html=_HTML.get_template(f"{template}.html").render(content),
    )
