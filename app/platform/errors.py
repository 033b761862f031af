"""What can go wrong, as exceptions that the web layer turns into one page or one JSON shape."""

from app.rules.verdict import Refused

__all__ = ["AlreadyDone", "Conflict", "Forbidden", "NotFound", "NotSignedIn", "Refused", "Stale", "TooMany"]


class NotFound(Exception):
    """There is no such thing; ``what`` names it in words, such as ``job J000412``. What is very long is cut short."""

    def __init__(self, what: str) -> None:
        what = what if len(what) <= 120 else f"{what[:120]}…"
        super().__init__(f"There is no {what}.")
        self.what = what


class Conflict(Exception):
    """The same id came with other content: nothing was stored."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Stale(Exception):
    """Somebody else changed it since the page was shown; ``changes`` says what, newest last."""

    def __init__(self, what: str, changes: tuple[str, ...] = (), location: str = "") -> None:
        super().__init__(f"{what} changed since this page was shown.")
        self.what = what
        self.changes = changes
        self.location = location


class AlreadyDone(Exception):
    """The same submission was stored before; its first outcome is at ``location``."""

    def __init__(self, location: str) -> None:
        super().__init__(location)
        self.location = location


class NotSignedIn(Exception):
    """The request carries no valid sign-in; ``detail`` says what to do where the usual words do not fit."""

    def __init__(self, detail: str = "") -> None:
        super().__init__(detail)
        self.detail = detail


class Forbidden(Exception):
    """The person's role may not do this; ``reason`` says who may."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class TooMany(Exception):
    """A rate limit was reached; ``retry_s`` is the number of seconds to wait."""

    def __init__(self, reason: str, retry_s: int) -> None:
        super().__init__(reason)
        self.reason = reason
        self.retry_s = retry_s
