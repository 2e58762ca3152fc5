"""One page a task: what it selects, how often, what can hurt, how it is done."""

from ledger.book import words
from ledger.book.blocks import Block, Bullets, Caution, Heading, Page, Paragraph, Prose, Spans
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task

_BASIS = {
    "law": "law",
    "code": "code",
    "standard": "a standard",
    "maker": "the maker's manual",
    "insurer": "the insurer",
    "own": "this site's own rule, a starting point under the maker's manual",
}


def task_page(ledger: Ledger, task: Task) -> Page:
    """Depends on the sources only."""
    facts: list[Spans] = [
        f"Due {words.format_task_cycle(task)}"
        + (
            f", within {words.format_count(task.window_days, 'day')} of the due day"
            * bool(task.window_days)
        ),
        f"The interval is set by {_BASIS[task.basis]}.",
    ]
    if task.state_basis:
        facts.append(f"The state it looks after is asked for by {_BASIS[task.state_basis]}.")
    if task.is_by_law and task.cite_read is not None:
        facts.append(
            f"By law: {task.cite}, {task.where}; text read on {words.format_day(task.cite_read)}. "
            "Check your own state or country."
        )
    elif task.names_law:
        facts.append("Not counted as by law, since no citation is given: check your own code.")
    if task.minutes:
        facts.append(f"Takes {words.format_minutes(task.minutes)} at each place.")
    if task.needs:
        facts.append(f"Needs a person qualified for {words.in_words(sorted(task.needs))}.")
    facts.extend(
        f"Uses {words.format_use(ledger, part, amount)} at each place."
        for part, amount in task.uses.items()
    )
    if task.reads:
        facts.append(f"The entry holds a reading of {words.in_words(task.reads)}.")
    facts.extend(
        ("Also counts as ", words.task_link(ledger.tasks[covered]), ".")
        for covered in task.covers
        if covered in ledger.tasks
    )
    if task.starts or task.ends:
        facts.append(
            f"In use {f'from {words.format_day(task.starts)}' if task.starts else ''}"
            f"{' until ' + words.format_day(task.ends) if task.ends else ''}."
        )
    if task.formerly:
        facts.append(f"Formerly {words.in_words(task.formerly)}.")
    blocks: list[Block] = [Bullets(facts)]
    cautions: list[Spans] = list(task.cautions)
    if task.lockout:
        cautions.insert(0, words.SAFETY[0])
    if cautions:
        blocks.append(
            Caution(
                [*cautions, "The maker's manual, the local code and licensed people come first."]
            )
        )
    if task.steps:
        blocks.extend((Heading(2, "Steps"), Prose(task.steps)))
    blocks.append(Heading(2, "Where"))
    if task.places:
        blocks.append(Bullets([words.place_link(ledger, place) for place in task.places]))
    else:
        blocks.append(Paragraph("It selects nothing on this site."))
    if task.last_done:
        blocks.append(Heading(2, "Before the record began"))
        blocks.append(Paragraph("Last done, as somebody remembered it; nobody filed it."))
        blocks.append(
            Bullets(
                [
                    (words.place_link(ledger, place), f": {words.format_remembered(remembered)}")
                    for place, remembered in task.last_done.items()
                ]
            )
        )
    return Page(path=f"tasks/{task.ident}.md", title=task.title, blocks=blocks)
