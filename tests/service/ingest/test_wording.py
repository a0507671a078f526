from joulebook.ingest.wording import shown, shown_time


def test_text_from_outside_is_quoted_and_cut() -> None:
    assert shown("a\nb") == r"'a\nb'"
    assert shown("x" * 1000) == "'" + "x" * 79 + "…"
    assert shown("half \ud800") == r"'half \ud800'"
    assert shown(b"\xff" * 1000).endswith("…")


def test_a_number_too_long_to_write_is_described() -> None:
    assert shown(10**5000) == "a number of thousands of digits"
    assert shown(7) == "7"


def test_instants_are_told_in_utc_wherever_a_calendar_reaches() -> None:
    # RFC 3339 §5.8 gives 1985-04-12T23:20:50.52Z, Unix time 482196050.52.
    assert shown_time(482_196_050_520) == "1985-04-12T23:20:50.520Z"
    assert shown_time(10**18) == f"{10**18} ms"
    assert shown_time(10**30) == f"{10**30} ms"
