"""A shape before the word of a state, so that no state is shown by its word or a colour alone."""

_SHAPES = {
    "in band": "●",
    "good": "●",
    "tension good": "●",
    "returns without bouncing": "●",
    "sound": "●",
    "within its limit": "●",
    "as wanted": "●",
    "out of band": "◆",
    "water out of band": "◆",
    "beyond its duty": "◆",
    "cannot tell": "○",
    "overdue": "■",
    "not done": "□",
    "set otherwise": "≠",
    "finding": "✱",
    "now": "✱",
    "not as approved": "≠",
    "does not hold": "≠",
    "fails again and again": "↻",
    "to approve or refuse": "…",
    "to approve properly or put back": "…",
    "to confirm": "?",
    "to order": "+",
    "tied back": "⊂",
    "instrument overdue": "■",
    "training due": "■",
    "readings in doubt": "?",
}
"""By the word of the state; what is worn, slack or near its limit has the shape below."""

_WEARS = "↘"


def marked(state: str, text: str = "") -> str:
    """`◆ out of band`; with `text` the shape of the state before other words, as `■ 3 overdue`.

    What follows a colon in a state says what to do, and has no part in its shape.
    """
    return (
        f"{_SHAPES.get(state.partition(':')[0].lower(), _WEARS)}\N{NO-BREAK SPACE}{text or state}"
    )
