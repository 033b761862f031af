"""The description of the JSON API: what FastAPI finds, and who may come in, how errors look, what holds for all."""

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import iter_route_contexts

from app.people.access import ROLE_WORDS, AllowToken
from app.people.models import Role
from app.platform.web import SAFE_METHODS

ABOUT = """
Programs come in with `Authorization: Bearer …` and a token that a supervisor made under API tokens; it has a role.

- **Ids.** Every write carries an `id`, a UUIDv7 made by the sender. The same id with the same content again does
  nothing twice and has the outcome of the first time; the same id with other content is refused with 409.
- **Versions.** A write that depends on what was read carries its `version`; 409 when it has moved on, with what
  changed in `changes`. Nothing of a refused write is stored.
- **Long lists** come in pages: send `next` of an answer as `after`, until it is null; `limit` is at most 200.
- **Errors** are problem details (RFC 9457): `title` says what happened, `detail` what to do next in words for people,
  `field` what it is about, `errors` what of the request is not valid.
- **Money** is a decimal written as text, in the currency of the site. **Times** are UTC (RFC 3339), **durations**
  whole seconds, their names ending in `_s`. **Quantities** are whole pieces in the part's unit.
""".strip()

PROBLEM = {
    "type": "object",
    "title": "Problem",
    "description": "Problem details, RFC 9457.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "const": "about:blank"},
        "title": {"type": "string", "description": "What happened."},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "Why, and what to do next."},
        "field": {"type": "string", "description": "What of the request a refusal is about."},
        "changes": {
            "type": "array",
            "items": {"type": "string"},
            "description": "What has changed since the version that was sent, newest last.",
        },
        "errors": {
            "type": "array",
            "description": "What of the request is not valid.",
            "items": {
                "type": "object",
                "required": ["where", "message"],
                "properties": {"where": {"type": "string"}, "message": {"type": "string"}},
            },
        },
        "reference": {"type": "string", "description": "What to tell the site's supervisor of an unexpected error."},
    },
    "examples": [
        {
            "type": "about:blank",
            "title": "That is not possible now",
            "status": 409,
            "detail": "Answer the make-safe questions first.",
        }
    ],
}

_WORDS = {
    "401": "There is no token, or it was revoked.",
    "403": "The token's role may not do this.",
    "404": "There is no such thing.",
    "409": "It is not possible now, the version has moved on, or the id was sent before with other content.",
    "422": "The request is not valid.",
    "429": "Too many wrong names or secrets; `Retry-After` says how long to wait.",
    "503": "The database does not answer. Send it again with the same id.",
}


def describe_api(app: FastAPI) -> None:
    """Let the app's OpenAPI document say what holds for the whole API, too."""
    plain = app.openapi

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _finish(plain(), dict(_roles(app)))
        return app.openapi_schema

    app.openapi = described  # type: ignore[method-assign]


def _roles(app: FastAPI) -> Iterator[tuple[tuple[str, str], frozenset[Role]]]:
    for context in iter_route_contexts(app.routes):
        dependant = getattr(context, "dependant", None)
        guards = [call for call in _calls(dependant) if isinstance(call, AllowToken)] if dependant else []
        for method in context.methods or () if guards else ():
            yield (str(context.path), method), frozenset.intersection(*(guard.roles for guard in guards))


def _calls(dependant: Dependant) -> Iterator[Any]:
    for part in dependant.dependencies:
        yield part.call
        yield from _calls(part)


def _finish(found: dict[str, Any], roles: dict[tuple[str, str], frozenset[Role]]) -> dict[str, Any]:
    parts = found.setdefault("components", {})
    schemas = parts.setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    schemas["Problem"] = PROBLEM
    parts["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer", "description": "A token that a supervisor made."}
    }
    for path, operations in found["paths"].items():
        for method, operation in operations.items():
            _describe(path, method.upper(), operation, roles.get((path, method.upper()), frozenset()))
    return found


def _describe(path: str, method: str, operation: dict[str, Any], roles: frozenset[Role]) -> None:
    operation["security"] = [{"token": []}]
    who = " and ".join(ROLE_WORDS[role] for role in Role if role in roles)
    operation["description"] = f"{operation.get('description', '')}\n\nFor {who}.".strip()
    codes = ["401", "403", *(["404"] if "{" in path else []), "422", "503"]
    if method not in SAFE_METHODS:
        codes.append("409")
    if path.endswith(("/tests", "/override")) and method == "POST":
        codes.append("429")
    for code in sorted(codes):
        operation["responses"][code] = {
            "description": _WORDS[code],
            "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
