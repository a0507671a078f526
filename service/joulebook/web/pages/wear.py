"""How worn the battery is: capacity, cycles, heat, its own claims, and every night behind it."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.battery.deep_test_plan import CAUTIONS, EVERY_DAYS, steps_of, target_of
from joulebook.storage.records import Site
from joulebook.web.pages import nights as every_night
from joulebook.web.pages.records import has_readings, record_page
from joulebook.web.shown import (
    without_repeats,
)
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_of_record
from joulebook.web.words import record_sentences
from joulebook.web.words.deep_test_sentences import told_test
from joulebook.web.words.record_texts import CLAIMS_NO_EVIDENCE, RECORD_WORKINGS
from joulebook.web.words.wear_rows import claim_rows, depth_rows, facts_of, heat_rows, number_rows

router = APIRouter(include_in_schema=False)
router.include_router(every_night.router)


@router.get("/sites/{site}/wear")
def wear_page(site: Sited, backing: Backed, nights: str | None = None) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="wear"))
    wear = backing.analyses.wear(site)
    tests = backing.analyses.deep_tests(site, now_ms=backing.clock_ms())
    latest = wear.get("capacity_latest", {"ah": None})
    reason, refused = latest.get("reason"), latest["ah"] is None
    page = record_page(
        backing,
        site,
        "wear.html",
        current="wear",
        noted=noted_of_record(backing.database, site, wear["record"], now_ms=backing.clock_ms()),
        record=wear["record"],
        lead=record_sentences.holds(wear, site.battery_ah),
        measured=record_sentences.of_wear(wear),
        rows=without_repeats(number_rows(wear), said=reason),
        refused=refused,
        drawn=bool(wear["capacity"]) and not refused,
        fade_sentence=None if "reason" in wear["fade"] else wear["fade"]["sentence"],
        capacity_cautions=wear.get("capacity_cautions", []),
        methods={name: wear[name]["method"] for name in ("efc", "depths")},
        depths=depth_rows(wear["depths"]["bins"]),
        heat=heat_rows(wear),
        aged=record_sentences.aged(wear),
        resistance_sentence=record_sentences.resistance(wear),
        claims_words=CLAIMS_NO_EVIDENCE,
        claims=claim_rows(wear),
        tests=[told_test(each, site.zone) for each in tests][::-1],
        cautions=CAUTIONS,
        steps=_steps(site),
        every_days=EVERY_DAYS,
        workings_of=RECORD_WORKINGS,
        facts=facts_of(wear),
        **every_night.night_lists(backing, site, wear, asked=nights),
    )
    return HTMLResponse(page)


def _steps(site: Site) -> tuple[str, ...]:
    """Return what an owner does in a deep test, where rated charge and cells are known."""
    if site.battery_ah is None or site.battery_cells is None:
        return ()
    return steps_of(target_of(site.battery_ah, site.battery_cells))
