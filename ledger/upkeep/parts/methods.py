"""The method behind the reorder level, in words that a reader understands."""

from ledger.book.method import Method

PARTS = (
    Method(
        title="Reorder level by use",
        says=(
            "The least stock that lasts until an order comes in, in 95 of 100 orders. It counts "
            "how often the part was used on record and how long orders took from ordered to "
            "received. Few uses tell the rate poorly, so the level allows for it: a part never "
            "used in a year is not level 0 where orders take long. A part without which the line "
            "stands is kept at one use at least. What one use takes is the average on record."
        ),
        formula="P(X <= s) >= 0.95, X negative binomial: shape uses + 1/2, p = days/(days + lead)",
        sources=("A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 (recalled)",),
        lacking="Without an order received or a stated lead time there is none.",
        code=("stock.reorder_point",),
    ),
)
