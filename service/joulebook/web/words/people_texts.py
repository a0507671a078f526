"""The English of who may do what: what is chosen, and what is said after a change."""

NOTHING = "nothing"
#: What somebody may do at a site: what is sent, and what is read.
CHOICES = (("", NOTHING), ("viewer", "look"), ("owner", "look, and change what is said of it"))
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
NO_CHOICE = "There is nothing that this person may do."
NO_ROLE = "Say what this person may do there."

PERSON_DONE = {
    "changed": "What this person may see and change holds from the next page on.",
    "shut-out": "This person is signed out everywhere and cannot sign in.",
    "let-in": "This person may sign in again.",
    "signed-out": "This person has to sign in again everywhere.",
}
ORGANISATION_DONE = {
    "in": "The site belongs to it now. What was said for the site alone stays as it was.",
    "out": "The site belongs to no organisation now.",
    "revoked": "The token lets nobody in any more.",
}
PASSWORD_DONE = {
    "password": "From now on the new password holds; everywhere else you are signed out.",
}


def words_of_role(role: str, where: str) -> str:
    """Return what somebody may do somewhere, such as "looks at studio"."""
    return f"{'owner of' if role == 'owner' else 'looks at'} {where}"


def words_everywhere(role: str) -> str:
    """Return what somebody may do at all sites."""
    return "owner of everything" if role == "owner" else "looks at every site"
