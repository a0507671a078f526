"""The site that a request names."""

from typing import Annotated

from fastapi import Depends, Path

from joulebook.storage.catalogue import sites
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing, backing_of
from joulebook.web.problems import ProblemError
from joulebook.web.regions import settle

#: What a handler asks for with a parameter of this type.
Backed = Annotated[Backing, Depends(backing_of)]


def seen_sites(backing: Backing, actor: Actor) -> list[Site]:
    """Return the sites that somebody may see, in the order of their names."""
    return [each for each in sites(backing.database) if actor.may_see(each.id)]


def site_of(
    site: Annotated[str, Path(description="The site's name.")], backing: Backed, actor: Asking
) -> Site:
    """Return the site named in the path, where the one who asks may see it.

    A site that he may not see is to him as one that is not there.
    """
    seen = seen_sites(backing, actor)
    for each in seen:
        if each.name == site:
            settle(each.locale)
            return each
    names = ", ".join(each.name for each in seen) or "none yet"
    raise ProblemError(
        404,
        "unknown-site",
        f"there is no site {site[:80]!r}",
        where="the address, after /sites/",
        expected=f"the name of a site: {names}",
        next_step="choose one from the list of sites",
    )


#: The same for the site in the path.
Sited = Annotated[Site, Depends(site_of)]
