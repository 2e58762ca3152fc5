"""People: what each is qualified for and on what evidence, training due, work under a permit."""

from collections.abc import Callable
from datetime import date, timedelta

from ledger.book import words
from ledger.book.addresses import PEOPLE_PAGE
from ledger.book.blocks import Block, Heading, Page, Paragraph, Table
from ledger.model.ledger import Ledger, last_day_filed
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

    def told(self, what: Callable[[Training], str]) -> str:
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


def people_page(ledger: Ledger) -> Page:
    """Depends on the sources only: due is what is due by the last day filed."""
    day, site = last_day_filed(ledger), ledger.site

    def under(one: Held) -> str:
        return one.told(lambda of: words.format_person(of.supervised_by, site))

    def state(one: Held) -> str:
        due = one.due(day)
        if due is None:
            return words.NONE
        return words.marked("training due", "overdue" if due < day else "training due")

    found = held(ledger, day)
    blocks: list[Block] = [
        Paragraph(
            "Work is compared with what the person was qualified for on its day. A qualification "
            "without training on record rests on site.yaml alone."
        ),
        Table.of(
            found,
            ("Person", lambda one: words.format_person_and_roles(one.person)),
            ("Company", lambda one: one.person.company or words.NONE),
            ("Qualified for", lambda one: one.qualification.replace("-", " ")),
            ("From", lambda one: one.told(lambda of: words.format_day(of.first_day))),
            (
                "Until",
                lambda one: one.told(lambda of: words.or_dash(of.last_day, words.format_day)),
            ),
            ("By", lambda one: one.told(lambda of: of.by)),
            ("Evidence", lambda one: one.told(lambda of: of.evidence)),
            ("Only beside", under),
            ("State", state),
        ),
    ]
    permits = ledger.overall.permits[::-1]
    if permits:
        blocks += [
            Heading(2, "Work under a permit, newest first"),
            Table.of(
                permits,
                ("When", lambda one: words.format_time(one.when, site)),
                ("Permit", lambda one: one.permit),
                ("By", lambda one: words.format_crew(one, site)),
                newest_first=True,
            ),
        ]
    return Page(path=PEOPLE_PAGE, title="People", blocks=blocks)
