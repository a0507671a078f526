"""Who a request comes from, and what he may do."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from joulebook.storage.narrowing import Narrowing
from joulebook.storage.records import Grant, Role


@dataclass(frozen=True, slots=True, kw_only=True)
class Actor:
    """Who a request comes from.

    Attributes
    ----------
    name : str
        As the audit log shows it.
    kind : str
        ``nobody`` is not signed in; ``house`` asks from this very machine while the service has
        no owner yet, or runs as a demonstration; ``token`` is a program; ``share`` holds the link
        to one page.
    everywhere : Role or None
        What he may do at every site; an owner everywhere may add sites, people, organisations.
    inside : mapping of organisation id to Role
        What he may do at every site of an organisation; an owner of one may add sites and people
        to it.
    at : mapping of site id to Role
        What he may do at single sites, those of his organisations among them.
    proof : str
        What a form must send back, so that no other page can send it in his name; empty where
        he has no session.
    person_id, session_id, share_id : int or None
        Of a person who is signed in; of the link by which somebody sees one page.
    grant : Grant or None
        Of a token that came with the request, whoever it was that sent it.
    watches : bool
        Whether he may read the service's own numbers at /metrics.
    """

    name: str
    kind: Literal["nobody", "house", "person", "token", "share"]
    everywhere: Role | None = None
    inside: Mapping[int, Role] = field(default_factory=dict)
    at: Mapping[int, Role] = field(default_factory=dict)
    proof: str = ""
    person_id: int | None = None
    session_id: int | None = None
    share_id: int | None = None
    grant: Grant | None = None
    watches: bool = False

    def may_see(self, site_id: int) -> bool:
        """Tell whether he may see a site."""
        return self.everywhere is not None or site_id in self.at

    def may_change(self, site_id: int) -> bool:
        """Tell whether he may change what is said of a site."""
        return self.may_run_the_house() or self.at.get(site_id) == "owner"

    def may_run_the_house(self) -> bool:
        """Tell whether he may do everything: add organisations, and sites and people of none."""
        return self.everywhere == "owner"

    def may_watch(self) -> bool:
        """Tell whether he may read the service's own numbers."""
        return self.watches or self.may_run_the_house()

    def may_add(self) -> bool:
        """Tell whether he may add sites and people: to everything, or to an organisation."""
        return self.may_run_the_house() or bool(self.owned())

    def owned(self) -> frozenset[int]:
        """Return the ids of the organisations to which he may add sites and people."""
        return frozenset(number for number, role in self.inside.items() if role == "owner")

    def narrowing(self) -> Narrowing | None:
        """Return whose rows he may read at all; ``None`` where everybody's."""
        if self.everywhere is not None:
            return None
        # One who writes finds the site that he writes to.
        written = () if self.grant is None or not self.grant.site else (self.grant.site_id,)
        return Narrowing(
            frozenset((*self.at, *written)),
            frozenset(self.inside),
            people=frozenset(() if self.person_id is None else (self.person_id,)),
            looked_after=self.owned(),
        )


NOBODY = Actor(name="nobody", kind="nobody")
