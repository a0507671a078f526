"""The site that a request names."""

from typing import Annotated

from fastapi import Depends, Path

from joulebook.errors import UsageError
from joulebook.storage.catalogue import site_named, sites
from joulebook.storage.records import Site
from joulebook.web.backing import Backing, backing_of
from joulebook.web.problems import ProblemError

#: What a handler asks for with a parameter of this type.
Backed = Annotated[Backing, Depends(backing_of)]


def site_of(site: Annotated[str, Path(description="The site's name.")], backing: Backed) -> Site:
    """Return the site named in the path."""
    try:
        return site_named(backing.database, site)
    except UsageError as error:
        names = ", ".join(each.name for each in sites(backing.database)) or "none yet"
        raise ProblemError(
            404,
            "unknown-site",
            f"there is no site {site[:80]!r}",
            where="the address, after /sites/",
            expected=f"the name of a site: {names}",
            next_step="choose one from the list of sites",
        ) from error


#: The same for the site in the path.
Sited = Annotated[Site, Depends(site_of)]
