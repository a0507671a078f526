"""The cookie that holds a session's secret."""

from fastapi import Request
from fastapi.responses import Response

from joulebook.storage.sessions import LONGEST_MS
from joulebook.web.access.rules import AccessRules

_NAME = "joulebook"
#: Browsers take it by TLS only, for this host and no other (RFC 6265bis, 4.1.3.2).
_SECURE_NAME = f"__Host-{_NAME}"


def is_secure(request: Request, rules: AccessRules) -> bool:
    """Tell whether the browser reached us by TLS."""
    return rules.secure or request.url.scheme == "https"


def session_secret(request: Request, rules: AccessRules) -> str:
    """Return the secret that the browser sent; empty where it sent none."""
    return request.cookies.get(_name(request, rules), "")


def keep_session(answer: Response, secret: str, request: Request, rules: AccessRules) -> None:
    """Have the browser keep a session's secret, from scripts and other sites too."""
    answer.set_cookie(
        _name(request, rules),
        secret,
        max_age=LONGEST_MS // 1000,
        path="/",
        secure=is_secure(request, rules),
        httponly=True,
        samesite="lax",
    )


def forget_session(answer: Response, request: Request, rules: AccessRules) -> None:
    """Have the browser forget it."""
    answer.delete_cookie(
        _name(request, rules),
        path="/",
        secure=is_secure(request, rules),
        httponly=True,
        samesite="lax",
    )


def _name(request: Request, rules: AccessRules) -> str:
    return _SECURE_NAME if is_secure(request, rules) else _NAME
