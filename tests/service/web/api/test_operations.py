from tests.helpers.pages import Studio, outline, words_of


def test_the_document_is_of_openapi_3_1(studio: Studio) -> None:
    document = studio.client.get("/api/openapi.json").json()
    assert document["openapi"].startswith("3.1")
    assert document["info"]["version"] == "1.2.3"
    assert "/api/v1/sites/{site}/readings" in document["paths"]
    assert not any("figures" in path for path in document["paths"])


def test_the_page_lists_every_operation_of_the_document(studio: Studio) -> None:
    words = words_of(studio.client.get("/api/docs").text)
    for path, item in studio.client.get("/api/openapi.json").json()["paths"].items():
        for method, operation in item.items():
            assert f"{method.upper()} {path}" in words
            for parameter in operation.get("parameters", []):
                assert parameter["description"] in words


def test_the_page_needs_nothing_from_elsewhere(studio: Studio) -> None:
    page = outline(studio.client.get("/api/docs").text)
    assert all((each["src"] or "").startswith("/assets/") for each in page.named("script"))
    addresses = [each["href"] for each in (*page.named("a"), *page.named("link"))]
    assert all(address is not None and address.startswith(("/", "#")) for address in addresses)
