"""The site that a request names."""

from typing import Annotated

from fastapi import Depends, Path

from joulebook.storage.catalogue import find_site, site_names, sites
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing, backing_of
from joulebook.web.problems import ProblemError
from joulebook.web.region.regions import settle

#: So many sites are named to somebody who asks for one that is not there.
_MOST_NAMED = 20

#: What a handler asks for with a parameter of this type.
Backed = Annotated[Backing, Depends(backing_of)]


def seen_sites(backing: Backing, actor: Actor) -> list[Site]:
    """Return the sites that somebody may see, in the order of their names."""
    return [each for each in sites(backing.database) if actor.may_see(each.id)]


def seen_names(backing: Backing, actor: Actor) -> list[str]:
    """Return the names of the sites that somebody may see, in order; quicker than the sites."""
    there = site_names(backing.database)
    return [name for site_id, name in there if actor.may_see(site_id)]


def site_of(
    site: Annotated[str, Path(description="The site's name.")], backing: Backed, actor: Asking
) -> Site:
    """Return the site named in the path, where the one who asks may see it.

    A site that he may not see is to him as one that is not there.
    """
    found = find_site(backing.database, site)
    if found is not None and actor.may_see(found.id):
        settle(found.locale)
        return found
    seen = seen_names(backing, actor)
    more = f" and {len(seen) - _MOST_NAMED} more" if len(seen) > _MOST_NAMED else ""
    names = ", ".join(seen[:_MOST_NAMED]) or "none yet"
    raise ProblemError(
        404,
        "unknown-site",
        f"there is no site {site[:80]!r}",
        where="the address, after /sites/",
        expected=f"the name of a site: {names}{more}",
        next_step="choose one from the list of sites",
    )


#: The same for the site in the path.
Sited = Annotated[Site, Depends(site_of)]
