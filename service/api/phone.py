"""Phone numbers as people write them, kept as E.164 writes them: a plus, the country, and at most 15 digits."""

from __future__ import annotations

import phonenumbers

from service.errors import NotUnderstood


def phone_number(text: str, region: str | None) -> str:
    """Return a number as E.164 writes it.

    Args:
        text: as somebody wrote it.
        region: the country (ISO 3166, two letters) whose way of dialling counts where the text has no plus.

    Raises:
        NotUnderstood: no text can be sent to it.
    """
    try:
        number = phonenumbers.parse(text, region)
    except phonenumbers.NumberParseException as error:
        raise NotUnderstood(
            "not a phone number: write it with + and the country, such as +1 202 555 0123, or name its region"
        ) from error
    if number.extension or not phonenumbers.is_possible_number(number):
        raise NotUnderstood("not a number that a text can be sent to; are all digits there?")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def region_known(region: str) -> bool:
    """Whether the way of dialling of a country is known."""
    return region in phonenumbers.SUPPORTED_REGIONS


def in_use(phone: str) -> bool:
    """Whether the number lies in a range that is known to be given out; false may mean mistyped."""
    try:
        return phonenumbers.is_valid_number(phonenumbers.parse(phone, None))
    except phonenumbers.NumberParseException:
        return False
