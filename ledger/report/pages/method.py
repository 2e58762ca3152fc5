"""What the page of methods says of one way of working a number out."""

from dataclasses import dataclass

NO_SOURCE = "common practice; no published source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """`says` what it means to a reader; `lacking` when there is no answer.

    `sources` stand in the docstrings of `code`, functions named as `module.function` of compute;
    `NO_SOURCE` stands alone where nothing is published.
    """

    title: str
    says: str
    formula: str
    sources: tuple[str, ...]
    lacking: str
    code: tuple[str, ...]
