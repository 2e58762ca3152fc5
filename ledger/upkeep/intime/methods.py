"""The methods behind the numbers of the work done in time, in words that a reader understands."""

from ledger.book.method import Method

IN_TIME = (
    Method(
        title="Done in time",
        says=(
            "Each due date of a task at a place counts once. It is in time if the work was done "
            "between the first and the last day that the task allows. One day's work counts for "
            "the newest due date that is open. Earlier due dates without any work are not done."
        ),
        formula="share = in time/(in time + late + early + not done)",
        sources=("EN 15341",),
        lacking=(
            "Due dates that are still open are left out. So are those that passed while the "
            "machine was out of service: that work is due on the day it is back."
        ),
        code=("schedule.obligations", "schedule.next_due", "schedule.state_on"),
    ),
)
