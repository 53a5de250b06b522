from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from html import escape
from typing import Any

import pytest

from service.errors import SetupError
from service.notifications.carriers.mail import MailCarrier, MailServer
from service.notifications.carriers.message import Message
from service.notifications.carriers.outcome import Accepted, Outcome, Refused, Unreachable
from service.wording.png import png_of
from tests.support.mail_server import Letterbox, mail_server

MESSAGE = Message(
    to="Ines Núñez <ines@example.org>",
    subject="Morning round,\r\nWed 25 Nov",
    text="House 3: humidity low for 47 min. Señal.",
    html="<p>House 3: <b>humidity low</b> for 47 min.</p>",
    key="digest-2026-11-25-ines",
    at_ms=1_795_590_000_000,
)


@pytest.fixture
def box() -> Iterator[Letterbox]:
    with mail_server() as letterbox:
        yield letterbox


async def sent(box: Letterbox, **changes: Any) -> Outcome:
    server = MailServer(host="127.0.0.1", port=box.port, sender="Alder Spring <farm@example.org>", security="none")
    return await MailCarrier(server).carry(replace(MESSAGE, **changes))


async def test_a_mail_arrives_as_text_and_as_html(box: Letterbox) -> None:
    assert isinstance(await sent(box), Accepted)

    (letter,) = box.letters
    assert [part.get_content_type() for part in letter.walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]
    plain, rich = letter.get_body(["plain"]), letter.get_body(["html"])
    assert plain is not None
    assert rich is not None
    assert plain.get_content().strip() == MESSAGE.text
    assert rich.get_content().strip() == MESSAGE.html
    assert letter["Subject"] == "Morning round, Wed 25 Nov"
    assert letter["From"] == "Alder Spring <farm@example.org>"
    assert letter["To"] == "Ines Núñez <ines@example.org>"
    assert letter["Date"] == "Wed, 25 Nov 2026 07:00:00 +0000"
    assert letter["Auto-Submitted"] == "auto-generated"
    assert box.receivers == [["ines@example.org"]]


async def test_a_mail_of_an_alarm_says_the_same_twice_with_a_button_and_a_picture(box: Letterbox) -> None:
    picture = png_of('<svg viewBox="0 0 20 10"><text x="1" y="8">7</text></svg>')
    link = "https://houses.example.org/a/x?t=1&b=2"
    await sent(
        box, html=None, kind="trouble", image=picture, image_alt='Humidity: 78% to "91%"', facts={"link": link}
    )

    (letter,) = box.letters
    assert [part.get_content_type() for part in letter.walk()] == [
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
    ]
    plain, rich = letter.get_body(["plain"]), letter.get_body(["html"])
    assert plain is not None
    assert rich is not None
    assert plain.get_content().splitlines() == [MESSAGE.text, "", f"Answer: {link}"]
    html = rich.get_content()
    assert MESSAGE.text in html
    assert f'href="{escape(link)}"' in html
    assert 'alt="Humidity: 78% to &quot;91%&quot;"' in html
    image = next(part for part in letter.walk() if part.get_content_type() == "image/png")
    assert f'src="cid:{image["Content-ID"].strip("<>")}"' in html
    assert image.get_content() == picture
    assert image["Content-Disposition"].startswith("inline")


async def test_a_picture_stands_where_the_html_wants_it_or_at_its_end(box: Letterbox) -> None:
    await sent(box, image=b"png", image_alt="a", html='<body><img src="cid:chart"> after</body>')
    await sent(box, image=b"png", image_alt="a", html="<body>before</body>")
    await sent(box, image=b"png", image_alt="a", html="before")
    for letter in box.letters:
        rich = letter.get_body(["html"])
        assert rich is not None
        assert rich.get_content().count('src="cid:chart-') == 1


@pytest.mark.parametrize("link", ["javascript:alert(1)", "//example.org", 7, None])
async def test_only_a_web_address_becomes_a_button(box: Letterbox, link: object) -> None:
    await sent(box, html=None, kind="trouble", facts={"link": link})
    (letter,) = box.letters
    rich = letter.get_body(["html"])
    assert rich is not None
    assert "href" not in rich.get_content()


async def test_a_text_in_a_mail_is_no_html(box: Letterbox) -> None:
    await sent(box, html=None, kind="trouble", text="House <b>3</b> & 4\nsecond", language="es")
    (letter,) = box.letters
    rich = letter.get_body(["html"])
    assert rich is not None
    assert "House &lt;b&gt;3&lt;/b&gt; &amp; 4<br>second" in rich.get_content()
    assert '<html lang="es">' in rich.get_content()


async def test_a_second_attempt_is_seen_to_be_the_same_mail(box: Letterbox) -> None:
    await sent(box)
    await sent(box, at_ms=MESSAGE.at_ms + 5000)
    await sent(box, key="another")
    first, again, other = (letter["Message-ID"] for letter in box.letters)
    assert first == again != other
    assert first.endswith("@example.org>")


async def test_a_mail_without_html_or_subject_is_plain(box: Letterbox) -> None:
    await sent(box, html=None, subject="")
    (letter,) = box.letters
    assert (letter.get_content_type(), letter["Subject"]) == ("text/plain", MESSAGE.text)


async def test_one_refused_address_of_two_is_accepted_and_named(box: Letterbox) -> None:
    box.refused = {"gone@example.org": "550 5.1.1 nobody here"}
    outcome = await sent(box, to="gone@example.org, ines@example.org")
    assert isinstance(outcome, Accepted)
    assert outcome.refused == ("gone@example.org: 550 5.1.1 nobody here",)
    assert box.receivers == [["ines@example.org"]]


async def test_all_addresses_refused_is_a_refusal(box: Letterbox) -> None:
    box.refused = {"gone@example.org": "550 5.1.1 nobody here"}
    outcome = await sent(box, to="gone@example.org")
    assert outcome == Refused(protocol="smtp", status=550, detail="gone@example.org: 550 5.1.1 nobody here")


async def test_one_address_refused_for_now_keeps_the_mail_alive(box: Letterbox) -> None:
    box.refused = {"gone@example.org": "550 5.1.1 nobody here", "slow@example.org": "450 4.2.1 later"}
    outcome = await sent(box, to="gone@example.org, slow@example.org")
    assert isinstance(outcome, Refused)
    assert outcome.status == 450


async def test_a_mail_refused_after_its_text_keeps_the_number(box: Letterbox) -> None:
    box.answer = "452 4.3.1 disk full"
    outcome = await sent(box)
    assert isinstance(outcome, Refused)
    assert (outcome.protocol, outcome.status) == ("smtp", 452)
    assert "disk full" in outcome.detail


@pytest.mark.parametrize("to", ["", "ines", "@", "ines@", "a@b@c", "ines@example.org\r\nBcc: x@example.org"])
async def test_what_is_no_address_is_refused_without_asking_anyone(box: Letterbox, to: str) -> None:
    outcome = await sent(box, to=to)
    assert isinstance(outcome, Refused)
    assert (outcome.status, box.letters) == (553, [])


async def test_a_server_without_encryption_is_refused_when_encryption_is_asked_for(box: Letterbox) -> None:
    server = MailServer(
        host="127.0.0.1", port=box.port, sender="farm@example.org", username="farm", password="hunter22"
    )
    outcome = await MailCarrier(server).carry(MESSAGE)
    assert isinstance(outcome, Refused)
    assert outcome.status == 502
    assert "hunter22" not in outcome.detail + repr(server)


async def test_a_password_is_never_sent_in_the_clear() -> None:
    with pytest.raises(SetupError, match="starttls or tls"):
        MailServer(host="h", port=25, sender="farm@example.org", security="none", username="u", password="p")


@pytest.mark.parametrize("sender", ["", "farm", "Farm <>"])
async def test_a_sender_must_be_an_address(sender: str) -> None:
    with pytest.raises(SetupError, match="sender"):
        MailServer(host="h", port=25, sender=sender)


async def test_a_server_that_is_gone_is_unreachable() -> None:
    with mail_server() as box:
        gone = box
    assert isinstance(await sent(gone), Unreachable)
