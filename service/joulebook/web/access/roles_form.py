"""What somebody may see and change, as a form asks it and as a page says it."""

from dataclasses import dataclass, field

from joulebook.storage.people import Person
from joulebook.storage.records import Role
from joulebook.web.access.forms import Form
from joulebook.web.access.reach import Reach

#: What is sent, and what is read.
CHOICES = (("", "nothing"), ("viewer", "look"), ("owner", "look, and change what is said of it"))
#: The same where it concerns all sites.
CHOICES_EVERYWHERE = (
    ("", "as said for each site below"),
    ("viewer", "look, at every site"),
    ("owner", "everything: change every site, add sites and people"),
)
#: And where it concerns those of an organisation.
CHOICES_INSIDE = (
    ("", "as said for each site below"),
    ("viewer", "look, at every site of it"),
    ("owner", "change every site of it, add sites and people to it"),
)
_ROLES: dict[str, Role] = {"viewer": "viewer", "owner": "owner"}


@dataclass(frozen=True, slots=True)
class Roles:
    """What somebody may do: everywhere, by organisation and by site."""

    everywhere: Role | None = None
    inside: dict[int, Role] = field(default_factory=dict)
    at: dict[int, Role] = field(default_factory=dict)


def asked_roles(form: Form, reach: Reach, *, leaves: bool = False) -> Roles:
    """Return the roles that a form gives, of those that its sender may give.

    Nothing at all is a fault, unless the person ``leaves`` for what he may do elsewhere.
    """
    words = ("", *_ROLES)
    # Not even read of one who does not run the house.
    everywhere = _ROLES.get(form.choice("everywhere", words)) if reach.everything else None
    inside = {
        each.id: form.choice(f"organisation-{each.id}", words) for each in reach.organisations
    }
    at = {site.id: form.choice(f"site-{site.name}", words) for site in reach.sites}
    roles = Roles(everywhere, _given(inside), _given(at))
    if roles == Roles() and not leaves and not form.errors:
        form.errors[first_field(reach)] = "There is nothing that this person may do."
    return roles


def first_field(reach: Reach) -> str:
    """Return the name of the first field of the form, beside which its faults stand."""
    return "everywhere" if reach.everything else f"organisation-{reach.organisations[0].id}"


def roles_of(person: Person) -> Roles:
    """Return what a person may do."""
    return Roles(person.everywhere, dict(person.inside), dict(person.at))


def roles_words(roles: Roles, reach: Reach) -> str:
    """Return what a person may do, in words; of what is out of reach nothing is said."""
    if reach.everything and roles.everywhere == "owner":
        return "owner of everything"
    words = ["looks at every site"] if reach.everything and roles.everywhere else []
    words += [
        f"{'owner of' if roles.inside[each.id] == 'owner' else 'looks at'} all of {each.name}"
        for each in reach.organisations
        if each.id in roles.inside
    ]
    words += [
        f"{'owner of' if roles.at[site.id] == 'owner' else 'looks at'} {site.name}"
        for site in reach.sites
        if site.id in roles.at
    ]
    return ", ".join(words) or "nothing"


def _given(asked: dict[int, str]) -> dict[int, Role]:
    return {number: _ROLES[role] for number, role in asked.items() if role}
