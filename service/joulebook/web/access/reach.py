"""How far somebody who adds sites and people reaches: everything, or his own organisations."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass

from joulebook.storage.catalogue import sites
from joulebook.storage.organisations import Organisation, organisations
from joulebook.storage.people import Person, people
from joulebook.storage.records import Site
from joulebook.web.access.actor import Actor
from joulebook.web.backing import Backing


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What somebody may hand out, and whom he may have power over.

    Attributes
    ----------
    everything : bool
        Whether he runs the house.
    organisations, sites : sequences of Organisation and of Site
        All there are; else those that he owns, and theirs.
    """

    everything: bool
    organisations: Sequence[Organisation]
    sites: Sequence[Site]

    def touches(self, person: Person) -> bool:
        """Tell whether he is shown a person: one who may do something here."""
        return self.everything or bool(
            person.inside.keys() & self._organisation_ids or person.at.keys() & self._site_ids
        )

    def holds(self, person: Person) -> bool:
        """Tell whether all that a person may do is here.

        Only then may he shut the person out, or make a link to choose a password: with that he
        could sign in as the person.
        """
        return self.everything or (
            self.touches(person)
            and not person.elsewhere
            and person.everywhere is None
            and person.inside.keys() <= self._organisation_ids
            and person.at.keys() <= self._site_ids
        )

    @property
    def _organisation_ids(self) -> set[int]:
        return {each.id for each in self.organisations}

    @property
    def _site_ids(self) -> set[int]:
        return {each.id for each in self.sites}


def reach_of(backing: Backing, actor: Actor) -> Reach:
    """Return how far somebody reaches who may add sites and people."""
    everything, owned = actor.may_run_the_house(), actor.owned()
    with closing(backing.database.connect()) as connection:
        there = organisations(connection)
    return Reach(
        everything=everything,
        organisations=[each for each in there if everything or each.id in owned],
        sites=[
            each for each in sites(backing.database) if everything or each.organisation_id in owned
        ],
    )


def people_in(backing: Backing, reach: Reach) -> list[Person]:
    """Return the people whom he is shown."""
    with closing(backing.database.connect()) as connection:
        return [each for each in people(connection) if reach.touches(each)]
