"""The checks tick themselves in a real browser, and nothing closes under a finger."""

import pytest

from tests.helpers.browser import Page
from tests.helpers.pages import Studio, measured_studio
from tests.helpers.served import served

pytestmark = pytest.mark.outside

_LEAD = "document.querySelector('.lead').textContent"
_FIRST = "document.querySelector('details.check')"
#: What the script does when a tab comes to the front again.
_RENEW = "document.dispatchEvent(new Event('visibilitychange'))"


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    return measured_studio(tmp_path_factory.mktemp("ticking"))


@pytest.fixture
def phone(tab: Page) -> Page:
    tab.look_like()
    tab.complaints.clear()
    return tab


def test_the_list_renews_itself_and_what_is_open_stays_open(phone: Page, own: Studio) -> None:
    with served(own.client.app) as url:
        phone.go(f"{url}/sites/studio/checks")
        lead = phone.evaluate(_LEAD)
        phone.evaluate(f"{_FIRST}.open = true; {_FIRST}.querySelector('summary').focus()")
        phone.evaluate("document.querySelector('.lead').textContent = 'of yesterday'")
        phone.evaluate(_RENEW)
        phone.wait_for(f"{_LEAD} !== 'of yesterday'")
        assert phone.evaluate(_LEAD) == lead
        assert phone.evaluate(f"{_FIRST}.open") is True
        assert phone.evaluate(f"document.activeElement.parentElement === {_FIRST}") is True
        assert phone.evaluate("document.querySelectorAll('details[open]').length") == 1
        assert phone.complaints == []


def test_a_service_that_is_away_is_said_to_be(phone: Page, own: Studio) -> None:
    with served(own.client.app) as url:
        phone.go(f"{url}/sites/studio/checks")
    phone.evaluate(_RENEW)
    phone.wait_for(
        "document.querySelector('[data-renew-status]').textContent.startsWith('No answer')"
    )
