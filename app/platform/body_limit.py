"""How much a request may bring along: a little from anybody, more from whoever is signed in or has a token.

Forms with recordings and pictures are read for signed-in people alone and have limits of their own, so that they
are passed through here.
"""

from collections.abc import Callable
from typing import Any

from starlette.exceptions import HTTPException

KB = 1024
# What anybody may send is a name and a secret, or a code.
BEFORE_SIGN_IN = 64 * KB
# A program's body is read before its token is looked at; a draft brings its drawings along.
FOR_PROGRAMS = 32 * KB * KB


def most_bytes(path: str) -> int | None:
    """Return the most bytes that a request to a path may bring; None where the form's reader knows."""
    if path.startswith("/api/"):
        return FOR_PROGRAMS
    if path in ("/sign-in", "/tablet") or path.startswith("/setup/"):
        return BEFORE_SIGN_IN
    return None


class BodyLimit:
    """ASGI middleware: answers 413 to a body that is too large, by its length as told or as it comes."""

    def __init__(self, app: Callable[..., Any]) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass the request on, its body counted."""
        most = most_bytes(scope["path"]) if scope["type"] == "http" else None
        if most is None:
            await self.app(scope, receive, send)
            return
        told = next((value for name, value in scope["headers"] if name == b"content-length"), b"")
        size = 0

        async def counted() -> Any:
            nonlocal size
            message = await receive()
            size += len(message.get("body", b""))
            if size > most or (told.isdigit() and int(told) > most):
                raise HTTPException(413)
            return message

        await self.app(scope, counted, send)
