"""What is to be tried on history, as it is written at the command line or asked for over HTTP."""

from __future__ import annotations

from collections.abc import Sequence

from rules.profile import ProfileError
from rules.profile_parser import parse_profile
from rules.trial import TrialError, read_limit, read_wait
from service.errors import NotUnderstood
from service.watch.replay import Changed


def changed_by(
    *, limits: Sequence[str] = (), waits: Sequence[str] = (), profile: str | None = None, file: str = ""
) -> Changed:
    """Read limits (``humidity-low=80``), waits in minutes (``humidity-low=12``) and the text of a profile file.

    Raises:
        NotUnderstood: one of them cannot be used; the message says which, and why.
    """
    try:
        trials = (*(read_limit(text) for text in limits), *(read_wait(text) for text in waits))
        parsed = None if profile is None else parse_profile(profile, file=file)
    except (TrialError, ProfileError) as error:
        raise NotUnderstood(str(error)) from error
    return Changed(trials=trials, profile=parsed)
