"""The parts of a form: every field has its label, its hint, its fault and what was written."""

from html.parser import HTMLParser

import pytest

from joulebook.errors import UsageError
from joulebook.web.access.actor import Actor
from joulebook.web.access.forms import Form
from joulebook.web.assets import Assets
from joulebook.web.rendering import template_environment

_OWNER = Actor(name="ana", kind="person", everywhere="owner", proof="from-her-session")
_LABELS = {"ah": "Rated charge", "day": "Installed"}


class _Elements(HTMLParser):
    """Start tags with their attributes, and all text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    def one(self, tag: str, **wanted: str) -> dict[str, str | None]:
        (found,) = (
            attrs
            for name, attrs in self.tags
            if name == tag and all(attrs.get(key) == value for key, value in wanted.items())
        )
        return found


def _drawn(calls: str, form: Form | None = None) -> _Elements:
    environment = template_environment(Assets(), version="0")
    template = environment.from_string(f'{{% import "forms.html" as forms %}}{calls}')
    return _Elements(template.render(form=form or Form(), actor=_OWNER, labels=_LABELS))


def test_a_form_holds_the_proof_of_the_session_it_was_made_for() -> None:
    page = _drawn('{{ forms.form_open("/there", actor, "A tariff") }}</form>')
    assert page.one("form") == {
        "class": "form",
        "method": "post",
        "action": "/there",
        "aria-label": "A tariff",
        "novalidate": None,
    }
    assert page.one("input", name="proof")["value"] == "from-her-session"
    assert "aria-label" not in _drawn('{{ forms.form_open("/x", actor) }}</form>').one("form")


def test_a_form_with_a_photo_sends_its_file_and_offers_the_camera() -> None:
    form = Form()
    form.errors["photo"] = "A file is needed: choose one."
    page = _drawn(
        '{{ forms.form_open("/there", actor, files=true) }}'
        '{{ forms.photo(form, "photo", "Photo", hint="JPEG or PNG.", needed=true) }}</form>',
        form,
    )
    # HTML Standard, 4.10.18.6: by any other encoding a file's name is sent, and not the file.
    assert page.one("form")["enctype"] == "multipart/form-data"
    told = page.one("input", type="file")
    assert page.one("label")["for"] == told["id"] == "photo"
    # HTML Standard, 4.10.5.1.17: of all kinds of images a phone offers its camera.
    assert told["accept"] == "image/*"
    assert told["aria-describedby"] == "photo-hint photo-fault"
    assert "required" in told
    assert "enctype" not in _drawn('{{ forms.form_open("/x", actor) }}</form>').one("form")


def test_a_field_has_its_label_hint_and_unit() -> None:
    page = _drawn(
        '{{ forms.field(form, "ah", "Rated charge", now=280.0, hint="On its label.", unit="Ah",'
        ' kind="number", needed=true) }}'
    )
    told = page.one("input")
    assert page.one("label")["for"] == told["id"] == "ah"
    assert told["aria-describedby"] == "ah-unit ah-hint"
    assert [page.one("p", id="ah-hint"), page.one("span", id="ah-unit")]
    assert (told["inputmode"], told["value"], told["autocomplete"]) == ("decimal", "280.0", "off")
    assert "required" in told
    assert "aria-invalid" not in told
    assert "On its label." in page.text


def test_a_plain_field_asks_for_nothing_more() -> None:
    told = _drawn('{{ forms.field(form, "maker", "Maker", most=60) }}').one("input")
    assert "aria-describedby" not in told
    assert "required" not in told
    assert (told["value"], told["maxlength"]) == ("", "60")


@pytest.mark.parametrize(
    ("kind", "type_", "mode"),
    [
        ("whole", "text", "numeric"),
        ("date", "date", None),
        ("moment", "datetime-local", None),
        ("email", "email", None),
        ("tel", "tel", None),
    ],
)
def test_kinds_of_fields_bring_up_the_keyboard_they_need(
    kind: str, type_: str, mode: str | None
) -> None:
    told = _drawn(f'{{{{ forms.field(form, "it", "It", kind="{kind}") }}}}').one("input")
    assert (told["type"], told.get("inputmode")) == (type_, mode)


def test_a_password_is_never_sent_back() -> None:
    form = Form({"secret": "open sesame"})
    page = _drawn(
        '{{ forms.field(form, "secret", "Password", kind="password",'
        ' autocomplete="new-password") }}',
        form,
    )
    assert page.one("input")["value"] == ""
    assert page.one("input")["autocomplete"] == "new-password"


def test_a_fault_stands_beside_its_field_and_what_was_written_stays() -> None:
    form = Form({"ah": "two hundred", "day": "tomorrow"})
    form.number("ah", low=1, high=1000)
    form.day("day")
    page = _drawn(
        "{{ forms.faults(form, labels) }}"
        '{{ forms.field(form, "ah", "Rated charge", now=280, kind="number") }}'
        '{{ forms.field(form, "day", "Installed", kind="date") }}',
        form,
    )
    for name, written in (("ah", "two hundred"), ("day", "tomorrow")):
        told = page.one("input", name=name)
        assert (told["aria-invalid"], told["value"], told["type"]) == ("true", written, "text")
        assert told["aria-describedby"] == f"{name}-fault"
        assert page.one("a", href=f"#{name}")
    assert page.one("div", role="alert")
    assert "2 things need another look" in page.text
    assert page.text.count("A number from 1 to 1000.") == 2


def test_a_fault_of_no_field_stands_above_the_form() -> None:
    form = Form({"a": "b"})
    form.refuse(UsageError("it is taken", where="x", expected="another", next_step="choose"))
    page = _drawn("{{ forms.faults(form) }}", form)
    assert "One thing needs another look" in page.text
    assert "It is taken. Expected: another." in page.text
    assert not [tag for tag, _ in page.tags if tag == "a"]
    assert not _drawn("{{ forms.faults(form) }}").tags


def test_a_second_form_of_a_page_has_ids_of_its_own() -> None:
    form = Form({"title": "x" * 90, "kind": "none", "note": "y" * 600, "sure": "yes"})
    form.text("title")
    form.text("note", most=500)
    form.choice("kind", ["other"])
    page = _drawn(
        "{{ forms.faults(form, under='new-') }}"
        '{{ forms.field(form, "title", "Title", under="new-") }}'
        '{{ forms.select(form, "kind", "Kind", [("other", "Other")], under="new-") }}'
        '{{ forms.textarea(form, "note", "Note", under="new-") }}'
        '{{ forms.tick(form, "sure", "Sure", under="new-") }}',
        form,
    )
    for tag, name in (("input", "title"), ("select", "kind"), ("textarea", "note")):
        told = page.one(tag, name=name)
        assert told["id"] == f"new-{name}"
        assert told["aria-describedby"] == f"new-{name}-fault"
        assert page.one("label", **{"for": f"new-{name}"})
        assert page.one("a", href=f"#new-{name}")
    assert page.one("input", id="new-sure")


def test_a_choice_is_what_was_sent_else_what_holds() -> None:
    call = (
        '{{ forms.select(form, "kind", "Kind", [("a", "A"), ("b", "B")], now="b", hint="One.") }}'
    )
    assert "selected" in _drawn(call).one("option", value="b")
    assert "selected" in _drawn(call, Form({"kind": "a"})).one("option", value="a")


def test_text_of_several_lines_keeps_them() -> None:
    page = _drawn('{{ forms.textarea(form, "note", "Note", now="one\\ntwo", rows=5) }}')
    assert page.one("textarea")["rows"] == "5"
    assert "\none\ntwo" in page.text


def test_an_empty_box_stays_empty_once_something_was_sent() -> None:
    call = '{{ forms.tick(form, "sure", "Sure", now=true, hint="Once.") }}'
    assert "checked" in _drawn(call).one("input")
    assert "checked" not in _drawn(call, Form({"other": "x"})).one("input")
    assert "checked" in _drawn(call, Form({"sure": "yes"})).one("input")


def test_buttons_say_what_they_do_and_about_what() -> None:
    page = _drawn(
        '{{ forms.actions("Save", "/back") }}{{ forms.actions("Go") }}'
        '{{ forms.press("/gone", actor, "Remove", {"id": 7}, "the event of 3 May") }}'
        '{{ forms.press("/x", actor, "Plain") }}'
        '{{ forms.done("It is saved.") }}{{ forms.done("") }}'
    )
    assert page.one("a")["href"] == "/back"
    assert page.one("form", action="/gone")["method"] == "post"
    assert page.one("input", name="id") == {"type": "hidden", "name": "id", "value": "7"}
    assert "Remove the event of 3 May" in page.text
    assert page.one("p", role="status")
    assert page.text.count("Done.") == 1
