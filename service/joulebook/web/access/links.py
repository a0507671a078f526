"""Links that are given out."""

from fastapi import Request

from joulebook.web.access.rules import AccessRules


def link_to(path: str, request: Request, rules: AccessRules) -> str:
    """Return the whole address of a path of ours, as somebody elsewhere may open it."""
    return f"{rules.public_url or f'{request.url.scheme}://{request.url.netloc}'}{path}"
