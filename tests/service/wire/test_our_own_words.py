"""No text of ours that comes back, forwarded or sent on by a machine, may be taken for an answer."""

from __future__ import annotations

import pytest

from service.wire.reply_words import Said, read
from service.wording.language import LANGUAGES
from service.wording.phrases import SPANISH
from tests.support.families_of_texts import Family, families

pytestmark = pytest.mark.pure

MOST = 200
NAMES = {"h7": "House 7", "h3": "House 3", "w": "Wachsraum 12", "c": "Cooler"}


@pytest.mark.parametrize("family", families(), ids=lambda family: family.name)
def test_no_text_of_ours_is_an_answer(family: Family) -> None:
    for template, texts in family.every.items():
        for language in LANGUAGES:
            # Variants differ in figures and names: a few hundred of each show as much as all of them.
            different = sorted(set(texts(language)))
            for text in different[:: 1 + len(different) // MOST]:
                assert not isinstance(read(text, NAMES, SPANISH.stage), Said), (template, text)
