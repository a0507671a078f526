"""The setup pages, together."""

from fastapi import APIRouter

from joulebook.web.pages.setup import (
    corrections,
    devices,
    events,
    facts,
    index,
    new_site,
    photos,
    sign_off,
    tariff,
)

router = APIRouter(include_in_schema=False)
for _pages in (index, new_site, facts, devices, events, photos, corrections, sign_off, tariff):
    router.include_router(_pages.router)
