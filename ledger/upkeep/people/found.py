"""Who is qualified for what, on what evidence, and whose training is due."""

from collections.abc import Callable
from datetime import date, timedelta

from ledger.book import words
from ledger.model.ledger import Ledger
from ledger.model.site import Person, Training
from ledger.values import dataclass

DUE_WITHIN = timedelta(days=60)
"""A training that ends so soon is due. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A person's qualification; `training` is the last that stands behind it, None without any."""

    person: Person
    qualification: str
    training: Training | None

    def of_training(self, what: Callable[[Training], str]) -> str:
        """Something of the training, a dash where there is none."""
        return (self.training and what(self.training)) or words.NONE

    def due(self, day: date) -> date | None:
        """The day by which to train again, where that is near or past on a day."""
        last = self.training.last_day if self.training else None
        return last if last is not None and last <= day + DUE_WITHIN else None


def held(ledger: Ledger, day: date) -> tuple[Held, ...]:
    """Every qualification of those who have not left by a day, by person."""
    found = []
    for person in ledger.site.people.values():
        if person.last_day is not None and person.last_day < day:
            continue
        for name in sorted(person.qualified):
            behind = [one for one in person.training if one.qualification == name]
            last = max(
                behind, key=lambda one: (one.last_day or date.max, one.first_day), default=None
            )
            found.append(Held(person=person, qualification=name, training=last))
    return tuple(found)
