"""The list of operations, as a page that needs nothing from elsewhere."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from joulebook.web.sites import Backed
from joulebook.web.words import texts

router = APIRouter(include_in_schema=False)


@router.get("/api/docs")
def operations_page(request: Request, backing: Backed) -> HTMLResponse:
    """Show the operations of the OpenAPI document, and the kinds of problems."""
    document = request.app.openapi()
    page = backing.render(
        "operations.html",
        description=document["info"]["description"],
        operations=operations_of(document),
        problems=texts.PROBLEMS,
    )
    return HTMLResponse(page)


def operations_of(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Return path, method, words and parameters of every operation of an OpenAPI document."""
    return [
        {
            "path": path,
            "method": method.upper(),
            "words": operation.get("description", ""),
            "parameters": [
                {
                    "name": parameter["name"],
                    "required": parameter["required"],
                    "words": parameter.get("description", f"In the {parameter['in']}."),
                }
                for parameter in operation.get("parameters", [])
            ],
        }
        for path, item in document["paths"].items()
        for method, operation in item.items()
    ]
