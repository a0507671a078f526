"""What somebody may see and change, as a form asks it and as a page says it."""

from collections.abc import Mapping, Sequence

from joulebook.storage.records import Role, Site
from joulebook.web.access.forms import Form

#: What is sent, and what is read.
CHOICES = (("", "nothing"), ("viewer", "look"), ("owner", "look, and change what is said of it"))
#: The same where it concerns all sites.
CHOICES_EVERYWHERE = (
    ("", "as said for each site below"),
    ("viewer", "look, at every site"),
    ("owner", "everything: change every site, add sites and people"),
)
_ROLES: dict[str, Role] = {"viewer": "viewer", "owner": "owner"}


def asked_roles(form: Form, sites: Sequence[Site]) -> tuple[Role | None, dict[int, Role]]:
    """Return the role everywhere and those at single sites; nothing at all is a fault."""
    everywhere = _ROLES.get(form.choice("everywhere", ("", *_ROLES)))
    asked = {site.id: form.choice(f"site-{site.name}", ("", *_ROLES)) for site in sites}
    at = {site_id: _ROLES[role] for site_id, role in asked.items() if role}
    if everywhere is None and not at and not form.errors:
        form.errors["everywhere"] = "There is nothing that this person may do."
    return everywhere, at


def roles_words(everywhere: Role | None, at: Mapping[int, Role], sites: Sequence[Site]) -> str:
    """Return what a person may do, in words."""
    if everywhere == "owner":
        return "owner of everything"
    words = ["looks at every site"] if everywhere == "viewer" else []
    words += [
        f"{'owner of' if at[site.id] == 'owner' else 'looks at'} {site.name}"
        for site in sites
        if site.id in at
    ]
    return ", ".join(words) or "nothing"
