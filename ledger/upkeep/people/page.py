"""People: what each is qualified for and on what evidence, training due, work under a permit."""

from ledger.book import words
from ledger.book.addresses import PEOPLE_PAGE
from ledger.book.blocks import Block, Heading, Page, Paragraph, Table
from ledger.model.ledger import Ledger, last_day_filed
from ledger.upkeep.people.found import Held, held


def people_page(ledger: Ledger) -> Page:
    """Depends on the sources only: due is what is due by the last day filed."""
    day, site = last_day_filed(ledger), ledger.site

    def under(one: Held) -> str:
        return one.of_training(lambda of: words.format_person(of.supervised_by, site))

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
            ("From", lambda one: one.of_training(lambda of: words.format_day(of.first_day))),
            (
                "Until",
                lambda one: one.of_training(
                    lambda of: words.or_dash(of.last_day, words.format_day)
                ),
            ),
            ("By", lambda one: one.of_training(lambda of: of.by)),
            ("Evidence", lambda one: one.of_training(lambda of: of.evidence)),
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
