"""The answer where the record is too short to say anything."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class NotEnoughData:
    """A result of its own kind: there are `have` of `what`, and an answer takes `need`.

    `why` is the reason for the threshold, in words a person can read.
    """

    what: str
    have: int
    need: int
    why: str

    @property
    def text(self) -> str:
        return f"not enough data: {self.have} {self.what}, needs {self.need}: {self.why}"
