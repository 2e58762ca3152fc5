"""Do two results agree, as far as their uncertainties can say?"""

import math


def e_number(value: float, expanded: float, reference: float, expanded_reference: float) -> float:
    """The E_n number (x - X)/√(U(x)² + U(X)²) of ISO 13528, with expanded uncertainties.

    Infinite where both uncertainties are zero and the values differ, zero where they are equal.

    Raises:
        ValueError: a value is not finite, or an uncertainty is negative.
    """
    if not (math.isfinite(value) and math.isfinite(reference)):
        raise ValueError(f"expected finite values, not {value!r} and {reference!r}")
    if not (expanded >= 0 and expanded_reference >= 0):
        raise ValueError("expected expanded uncertainties of 0 or more")
    difference = value - reference
    width = math.hypot(expanded, expanded_reference)
    if width == 0:
        return math.copysign(math.inf, difference) if difference else 0.0
    return difference / width
