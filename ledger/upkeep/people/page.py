"""People: what each is qualified for and on what evidence, training due, work under a permit."""

from ledger.book import words
from ledger.book.addresses import PEOPLE_PAGE
from ledger.book.blocks import Block, Heading, Page, Paragraph, Table, left
from ledger.model.ledger import Ledger, last_day_filed
from ledger.upkeep.people.found import Held, held


def people_page(ledger: Ledger) -> Page:
    """Depends on the sources only: due is what is due by the last day filed."""
    day, site = last_day_filed(ledger), ledger.site

    def state(one: Held) -> str:
        due = one.due(day)
        if due is None:
            return words.NONE
        return words.marked("training due", "overdue" if due < day else "training due")

    def under(one: Held) -> str:
        training = one.training
        if training is None or not training.supervised_by:
            return words.NONE
        return words.format_person(training.supervised_by, site)

    found = held(ledger, day)
    blocks: list[Block] = [
        Paragraph(
            "Work is compared with what the person was qualified for on its day. A qualification "
            "without training on record rests on site.yaml alone."
        ),
        Table.of(
            found,
            (left("Person"), lambda one: words.format_person_and_roles(one.person)),
            (left("Company"), lambda one: one.person.company or words.NONE),
            (left("Qualified for"), lambda one: one.qualification.replace("-", " ")),
            (
                left("From"),
                lambda one: (
                    words.format_day(one.training.first_day) if one.training else words.NONE
                ),
            ),
            (
                left("Until"),
                lambda one: words.or_dash(
                    one.training.last_day if one.training else None, words.format_day
                ),
            ),
            (left("By"), lambda one: (one.training.by if one.training else "") or words.NONE),
            (
                left("Evidence"),
                lambda one: (one.training.evidence if one.training else "") or words.NONE,
            ),
            (left("Only beside"), under),
            (left("State"), state),
        ),
    ]
    permits = ledger.overall.permits[::-1]
    if permits:
        blocks += [
            Heading(2, "Work under a permit, newest first"),
            Table.of(
                permits,
                (left("When"), lambda one: words.format_time(one.when, site)),
                (left("Permit"), lambda one: one.permit),
                (left("By"), lambda one: words.format_crew(one, site)),
                newest_first=True,
            ),
        ]
    return Page(path=PEOPLE_PAGE, title="People", blocks=blocks)
