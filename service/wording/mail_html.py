"""A text as the HTML of a mail: the same words, the picture, and one button for answering; it loads nothing."""

from __future__ import annotations

from html import escape
from typing import Final

from service.wording.language import Language

CHART: Final = "cid:chart"
"""How HTML names the picture before the mail has given it a name."""
ANSWER: Final[dict[Language, str]] = {"en": "Answer", "es": "Responder"}
_BUTTON: Final = (
    "display:inline-block;padding:14px 28px;background:#22211e;color:#ffffff;text-decoration:none;font-size:18px"
)


def mail_html(text: str, language: Language, *, alt: str | None = None, link: str | None = None) -> str:
    """The mail; ``alt`` says what the picture shows, if there is one."""
    lines = "<br>".join(escape(line) for line in text.splitlines())
    parts = [f'<p style="font-size:18px;line-height:1.4">{lines}</p>']
    if link is not None:
        parts.append(f'<p><a href="{escape(link)}" style="{_BUTTON}">{ANSWER[language]}</a></p>')
    if alt is not None:
        parts.append(picture(alt))
    body = "\n".join(parts)
    return (
        f'<!doctype html>\n<html lang="{language}"><body style="font-family:sans-serif">\n{body}\n</body></html>'
    )


def picture(alt: str) -> str:
    """The picture as part of a mail."""
    return f'<p><img src="{CHART}" alt="{escape(alt)}" style="max-width:100%;height:auto"></p>'


def with_picture(html: str, alt: str) -> str:
    """``html`` with the picture at its end, unless it has a place for it already."""
    if CHART in html:
        return html
    before, end, after = html.rpartition("</body>")
    return f"{before}{picture(alt)}{end}{after}" if end else html + picture(alt)


def plain_with_link(text: str, language: Language, link: str | None) -> str:
    """The plain part: an address that can be tapped or copied stands alone on its line."""
    return text if link is None else f"{text}\n\n{ANSWER[language]}: {link}"
