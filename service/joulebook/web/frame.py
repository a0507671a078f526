"""What stays on a phone that has the pages on its home screen: the frame, and never a number.

The service worker keeps the style, the icon and a notice for when the house does not answer. No
page and no reading is kept: an old number that looks like a new one is worse than none.
"""

import json
from importlib import resources

from jinja2 import Environment

from joulebook.web.assets import Assets
from joulebook.web.words.texts import DESCRIPTION

MANIFEST, OFFLINE, WORKER = "joulebook.webmanifest", "offline.html", "worker.js"
#: Paper of light and dark pages, as joulebook.css has it.
PAPER = {"light": "#ffffff", "dark": "#12181d"}

_ICONS = (("icon-192.png", 192, "any"), ("icon-512.png", 512, "any"))
_FULL = ("icon-full-512.png", 512, "maskable")
#: What the notice is made of.
_KEPT = (OFFLINE, "joulebook.css", "offline.js", "icon.svg")


def add_frame(assets: Assets, templates: Environment) -> None:
    """Add the manifest, the notice and the worker to the static files."""
    assets.add(MANIFEST, json.dumps(_manifest(assets), indent=1).encode())
    assets.add(OFFLINE, templates.get_template("offline.html").render().encode())
    kept = [assets.url(name) for name in _KEPT]
    script = resources.files("joulebook.web") / "static" / WORKER
    assets.add(
        WORKER,
        script.read_text(encoding="utf-8")
        .replace('"OFFLINE"', json.dumps(kept[0]))
        .replace('["FRAME"]', json.dumps(kept))
        .encode(),
    )


def _manifest(assets: Assets) -> dict[str, object]:
    """Return the document of W3C Web Application Manifest."""
    return {
        "id": "/",
        "name": "joulebook",
        "short_name": "joulebook",
        "description": DESCRIPTION,
        "lang": "en",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "theme_color": PAPER["light"],
        "background_color": PAPER["light"],
        "icons": [
            {"src": assets.url("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
            *(
                {
                    "src": assets.url(name),
                    "sizes": f"{size}x{size}",
                    "type": "image/png",
                    "purpose": purpose,
                }
                for name, size, purpose in (*_ICONS, _FULL)
            ),
        ],
    }
