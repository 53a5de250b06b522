"""The errors that Houseband raises on purpose, by who has to act.

    HousebandError
    +-- UserError        a person asked for something that cannot be done; they change the request
    |   +-- NotFound         the thing named does not exist                      (404)
    |   +-- NotAllowed       it exists, but not from the present state; nothing moved (409)
    |   +-- NotUnderstood    the request itself is wrong                         (422)
    +-- SetupError       a setting, file or package is missing or wrong; the administrator acts
    +-- PassingError     database locked or full, connection gone: the same call may work later

A message from a probe that cannot be used is *not* an error: it is a ``Rejected`` value, kept and counted.
"""


class HousebandError(Exception):
    """Common base, so that the edges can catch what is ours."""


class UserError(HousebandError):
    """A person asked for something that cannot be done."""


class NotFound(UserError):  # noqa: N818 - reads as the sentence it is
    """The thing named does not exist."""


class NotAllowed(UserError):  # noqa: N818
    """The thing exists, but what was asked is not possible from its present state. Nothing moved."""


class NotUnderstood(UserError):  # noqa: N818
    """The request itself is wrong."""


class SetupError(HousebandError):
    """A setting, file or package is missing or wrong."""


class PassingError(HousebandError):
    """The same call may work a little later: nothing was lost, nothing was written."""
