"""The methods behind the numbers of the work done in time, in words that a reader understands."""

from ledger.book.method import Method

IN_TIME = (
    Method(
        title="Done in time",
        says=(
            "Each due date of a task at a place counts once. It is in time when the work was done "
            "between the first and the last day that the task allows. A day's work answers the "
            "newest due date that was open; those before it that nothing answered are not done."
        ),
        formula="share = in time/(in time + late + early + not done)",
        sources=("EN 15341",),
        lacking=(
            "Due dates that are still open are left out, and those that passed while the machine "
            "was out of service: that work is due on the day it is back."
        ),
        code=("schedule.obligations", "schedule.next_due", "schedule.state_on"),
    ),
)
