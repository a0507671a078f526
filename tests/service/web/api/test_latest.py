from tests.helpers.pages import NOW_MS, Studio


def test_newest_readings_as_numbers_and_in_words(studio: Studio) -> None:
    document = studio.client.get("/api/v1/sites/studio/latest").json()
    assert document["site"] == "studio"
    assert document["now_ms"] == NOW_MS
    devices = {device["device"]: device for device in document["devices"]}
    assert list(devices) == ["pv", "load", "grid", "battery", "inverter"]
    # The last reading is of 11:55, before noon.
    assert devices["battery"]["age_s"] == 300
    assert devices["battery"]["heard"] == "5\u00a0min ago"
    assert devices["battery"]["headline"] == "400\u00a0W, filling; 70\u00a0% full"
    power = next(each for each in devices["battery"]["readings"] if each["quantity"] == "power")
    assert power == {
        "quantity": "power",
        "unit": "W",
        "value": 400.0,
        "text": "400\u00a0W",
        "at_ms": NOW_MS - 300_000,
    }
    assert [each["value"] for each in devices["inverter"]["readings"]] == [False, "inverting"]


def test_no_readings_are_no_devices(empty: Studio) -> None:
    assert empty.client.get("/api/v1/sites/studio/latest").json()["devices"] == []
