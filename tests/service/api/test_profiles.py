"""Profiles are shown with the source of every figure, and people stand for them by name."""

from __future__ import annotations

from service.api.moments import show_moment
from tests.support import farmyard
from tests.support.api import Api

NOW = show_moment(farmyard.NOW_MS)


async def test_every_profile_is_listed_with_its_stages_in_order(one_api: Api) -> None:
    listed = {line["profile"]: line for line in await one_api.get("/api/profiles")}
    assert {"shiitake", "grey_oyster", "cold_storage"} <= listed.keys()
    assert listed["shiitake"]["stages"][:3] == ["incubation", "browning", "soak"]


async def test_every_figure_has_a_basis_and_what_was_read_has_a_source(one_api: Api) -> None:
    for line in await one_api.get("/api/profiles"):
        shown = await one_api.get(f"/api/profiles/{line['profile']}")
        figures = [
            band[edge]
            for stage in shown["stages"]
            for band in stage["bands"]
            for edge in ("low", "target", "high")
        ]
        figures += [text["limit"] for stage in shown["stages"] for text in stage["text_limits"]]
        assert any(figures)
        for figure in filter(None, figures):
            assert figure["basis"] in {"read", "from memory", "common practice", "judgement"}
            assert figure["source"] or figure["basis"] in {"common practice", "judgement", "from memory"}
            assert figure["source"] not in shown["sources"], "the source is spelled out, not its key"


async def test_the_first_who_stands_for_a_stage_stays_named(api: Api) -> None:
    await api.post("/api/profiles/nameko/confirmations", {"stage": "fruiting", "who": "Ines"})
    shown = await api.post("/api/profiles/nameko/confirmations", {"stage": None, "who": "Ben"})
    stood = {stage["stage"]: (stage["confirmed_by"], stage["confirmed"]) for stage in shown["stages"]}
    assert stood.pop("fruiting") == ("Ines", NOW)
    assert set(stood.values()) == {("Ben", NOW)}
    assert await api.get("/api/profiles/nameko", version=1) == shown


async def test_standing_for_what_is_not_there_is_refused(one_api: Api) -> None:
    said = await one_api.post(
        "/api/profiles/nameko/confirmations", {"stage": "dreaming", "who": "Ines"}, expect=404
    )
    assert "it has" in said["detail"]
    await one_api.post("/api/profiles/truffle/confirmations", {"stage": None, "who": "Ines"}, expect=404)
    await one_api.post("/api/profiles/nameko/confirmations", {"stage": None, "version": 9, "who": "I"}, expect=404)
    await one_api.post("/api/profiles/nameko/confirmations", {"stage": None, "who": " "}, expect=422)
    await one_api.refused("/api/profiles/truffle", expect=404)
    await one_api.refused("/api/profiles/nameko", expect=422, version="new")
