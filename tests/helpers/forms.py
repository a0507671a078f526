"""Forms of a page, sent as a browser without scripts sends them."""

from html.parser import HTMLParser

from fastapi.testclient import TestClient
from httpx2 import Response


class _Forms(HTMLParser):
    """The forms of a page: where each is sent, and what it sends when nothing is touched."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str]]] = []
        self._inside = False
        self._select: str | None = None
        self._textarea: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "form":
            self.forms.append((told["action"] or "", {}))
            self._inside = True
        elif not self._inside:
            return
        name, fields = told.get("name") or "", self.forms[-1][1]
        if tag == "input" and (told.get("type") != "checkbox" or "checked" in told):
            fields[name] = told.get("value") or ""
        elif tag == "textarea":
            self._textarea = name
            fields[name] = ""
        elif tag == "select":
            self._select = name
        elif tag == "option":
            self._choose(fields, told)

    def _choose(self, fields: dict[str, str], option: dict[str, str | None]) -> None:
        # The first one counts where none is selected; a datalist's options belong to no field.
        if self._select is not None and (self._select not in fields or "selected" in option):
            fields[self._select] = option.get("value") or ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._textarea = None

    def handle_data(self, data: str) -> None:
        if self._textarea is not None:
            self.forms[-1][1][self._textarea] += data.removeprefix("\n")


def fields_on(html: str, action: str) -> dict[str, str]:
    """Return what the only form of a page that goes to an address sends when nothing is touched."""
    parsed = _Forms()
    parsed.feed(html)
    (fields,) = (fields for where, fields in parsed.forms if where == action)
    return fields


def send(
    client: TestClient, page: str, fields: dict[str, str] | None = None, *, action: str = ""
) -> Response:
    """Open a page, fill in a form of it, and return the answer to it.

    ``action`` is where the form goes: by default to the page's own address. A field that the
    form does not have is a mistake of the test.
    """
    opened = client.get(page, headers={"accept": "text/html"})
    assert opened.status_code == 200, opened.text
    sent = fields_on(opened.text, action or page)
    assert set(fields or {}) <= set(sent)
    return client.post(action or page, data=sent | (fields or {}), headers={"accept": "text/html"})
