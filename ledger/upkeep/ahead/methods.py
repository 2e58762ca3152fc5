"""The methods behind the weeks ahead, in words that a reader understands."""

from ledger.book.method import Method

WORK_AHEAD = (
    Method(
        title="Time that is short",
        says=(
            "Work that needs a qualification can be shared only among those who have it. For every "
            "choice of kinds of work the minutes are held against those of all who may do one of "
            "them; what lacks most is shown."
        ),
        formula="minutes of the kinds chosen <= minutes of all who may do any of them",
        sources=(
            'P. Hall, "On representatives of subsets", J. London Math. Soc. 10, 1935 (recalled)',
        ),
        lacking="Without hours_per_week of anybody here it cannot be told.",
        code=("workload.shortfall",),
    ),
    Method(
        title="What could be moved",
        says=(
            "The longest work goes first, each into the emptiest week that its window reaches; "
            "what may stay where it is due without making the fullest week fuller stays. Work for "
            "safety, by law or overdue is not moved, and what is locked at one machine stays "
            "together."
        ),
        formula="minutes of a week / days on which the site is open in it",
        sources=(
            'R. L. Graham, "Bounds on multiprocessing timing anomalies"',
            "SIAM J. Appl. Math. 17(2), 1969 (recalled)",
        ),
        lacking="Nothing is moved by the program; the due dates stay.",
        code=("workload.levelled",),
    ),
)
