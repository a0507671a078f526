"""What somebody may see and change, as a form asks it and as a page says it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from joulebook.storage.people import Person
from joulebook.storage.records import Role, Site
from joulebook.web.access.forms import Form
from joulebook.web.access.reach import Reach
from joulebook.web.words.fault_texts import OF_A_SITE
from joulebook.web.words.people_texts import (
    NO_CHOICE,
    NO_ROLE,
    NOTHING,
    words_everywhere,
    words_of_role,
)

#: With more sites than this, a site is named instead of chosen from a list.
MOST_LISTED = 30
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
    at |= _named(form, reach)
    roles = Roles(everywhere, _given(inside), _given(at))
    if roles == Roles() and not leaves and not form.errors:
        form.errors[first_field(reach)] = NO_CHOICE
    return roles


def listed(reach: Reach, person: Person | None) -> Sequence[Site]:
    """Return the sites that have a field of their own: of many, where something is said already."""
    if len(reach.sites) <= MOST_LISTED:
        return reach.sites
    return [site for site in reach.sites if person is not None and site.id in person.at]


def _named(form: Form, reach: Reach) -> dict[int, str]:
    """Return what is said of one site more, which is named: thousands fit into no list."""
    name = form.text("site", most=63)
    role = form.choice("site-role", ("", *_ROLES))
    if not name:
        return {}
    there = next((site for site in reach.sites if site.name == name), None)
    if there is None:
        form.errors["site"] = OF_A_SITE
        return {}
    if not role:
        form.errors["site-role"] = NO_ROLE
    return {there.id: role}


def first_field(reach: Reach) -> str:
    """Return the name of the first field of the form, beside which its faults stand."""
    return "everywhere" if reach.everything else f"organisation-{reach.organisations[0].id}"


def roles_of(person: Person) -> Roles:
    """Return what a person may do."""
    return Roles(person.everywhere, dict(person.inside), dict(person.at))


def roles_words(roles: Roles, reach: Reach) -> str:
    """Return what a person may do, in words; of what is out of reach nothing is said."""
    everywhere = roles.everywhere if reach.everything else None
    if everywhere == "owner":
        return words_everywhere(everywhere)
    words = [words_everywhere(everywhere)] if everywhere else []
    words += [
        words_of_role(roles.inside[each.id], f"all of {each.name}")
        for each in reach.organisations
        if each.id in roles.inside
    ]
    words += [
        words_of_role(roles.at[site.id], site.name) for site in reach.sites if site.id in roles.at
    ]
    return ", ".join(words) or NOTHING


def _given(asked: dict[int, str]) -> dict[int, Role]:
    return {number: _ROLES[role] for number, role in asked.items() if role}
