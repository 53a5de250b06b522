"""Which requests another site's page makes (Fetch Metadata, W3C; Origin, RFC 6454)."""

from __future__ import annotations

import pytest

from service.web.same_site import comes_from_elsewhere

pytestmark = pytest.mark.pure

HOST = {"host": "farm.local:8000"}


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none"},
        {"origin": "http://farm.local:8000"},
        {"sec-fetch-site": "same-origin", "origin": "http://farm.local:8000"},
    ],
)
def test_our_own_pages_and_programs_may_change_things(headers: dict[str, str]) -> None:
    assert not comes_from_elsewhere("POST", {**HOST, **headers})


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": "http://farm.local:8000"},
        {"origin": "https://elsewhere.example"},
        {"origin": "http://farm.local:9000"},
        {"origin": "null"},
        {"origin": ""},
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_other_sites_may_not(method: str, headers: dict[str, str]) -> None:
    assert comes_from_elsewhere(method, {**HOST, **headers})


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
def test_anybody_may_look(method: str) -> None:
    assert not comes_from_elsewhere(method, {**HOST, "sec-fetch-site": "cross-site"})
