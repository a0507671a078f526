"""What the OpenAPI document says beyond the handlers: who may ask, and what a problem is."""

from collections.abc import Iterator
from functools import cache
from typing import Any

from fastapi import FastAPI

from joulebook.web.asked import MAX_PAGE
from joulebook.web.homes.choice import SHOWS

#: What it begins with.
ABOUT = (
    "What a home battery's logger knows. Instants are milliseconds of UTC, energies Wh, powers W, "
    "ratios from 0 to 1. A number that cannot be given is null with its reason. Every error is a "
    "problem document (RFC 9457)."
)
_PROBLEM = {
    "type": "object",
    "description": "RFC 9457, with the four parts of every error here.",
    "required": ["type", "title", "status", "detail", "instance", "where", "expected", "next"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong."},
        "instance": {"type": "string"},
        "where": {"type": "string"},
        "expected": {"type": "string"},
        "next": {"type": "string", "description": "What to do."},
    },
}
_SCHEMES = {
    "token": {
        "type": "http",
        "scheme": "basic",
        "description": "The name of a token and its secret.",
    },
    "bearer": {"type": "http", "scheme": "bearer", "description": "A token's secret alone."},
    "session": {
        "type": "apiKey",
        "in": "cookie",
        "name": "joulebook",
        "description": "A person's, who is signed in; __Host-joulebook by TLS.",
    },
}
_DAY = {"type": "string", "format": "date"}
_INSTANT = {"type": "string", "format": "date-time"}
#: The forms of parameters by name; the handlers take texts, so that a wrong one is told in words.
_FORMS: dict[str, dict[str, Any]] = {
    "site": {"type": "string", "pattern": "^[a-z0-9][a-z0-9-]{0,62}$"},
    "from": _DAY,
    "to": _DAY,
    "width": {"type": "integer", "minimum": 10, "maximum": 4000},
    "q": {"type": "string", "maxLength": 63},
    "show": {"type": "string", "enum": list(SHOWS)},
    "page": {"type": "integer", "minimum": 1, "maximum": MAX_PAGE},
}
#: Those of readings may be instants too.
_OF_READINGS = {"from": {"anyOf": [_DAY, _INSTANT]}, "to": {"anyOf": [_DAY, _INSTANT]}}

#: What is answered to anybody.
_OPEN = ("/healthz", "/readyz")
#: Answers that any operation of the API may give, and what they mean.
_PROBLEMS = {
    "401": "Nobody is signed in, and no token is known.",
    "403": "Whoever asks may not do this.",
    "404": "No such site, device or quantity, or none that may be seen.",
    "422": "A parameter, or the content, is not of its form; or nothing of it could be used.",
    "429": "Too many requests or failed attempts; Retry-After says when to go on.",
    "4XX": "The request is too long, of a type that is not taken, or otherwise none of ours.",
    "503": "The store is away, or full of work; Retry-After says when to try again.",
}


def describe(app: FastAPI) -> None:
    """Have the application's document say what its gate and its problem handlers do."""
    of_the_handlers = app.openapi

    @cache
    def document() -> dict[str, Any]:
        made = of_the_handlers()
        components = made.setdefault("components", {})
        components["schemas"] = {"Problem": _PROBLEM}
        components["securitySchemes"] = _SCHEMES
        for path, operation in _operations(made):
            forms = _FORMS | (_OF_READINGS if path.endswith("/readings") else {})
            for parameter in operation.get("parameters", ()):
                parameter["schema"] = forms.get(parameter["name"], {"type": "string"})
            if path not in _OPEN:
                _add_answers(operation)
                given = operation.pop("security", None)
                operation["security"] = given or [{"token": []}, {"bearer": []}, {"session": []}]
        return made

    app.openapi = document  # type: ignore[method-assign]  # as FastAPI's guide on it has it


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for operation in item.values():
            yield path, operation


def _add_answers(operation: dict[str, Any]) -> None:
    for status, words in _PROBLEMS.items():
        operation["responses"][status] = {
            "description": words,
            "content": {
                "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
            },
        }
