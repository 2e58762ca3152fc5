"""How the files name places and entries."""

from typing import NamedTuple, Self

# Named tuples, as they are hashed and compared by the million.


class EntryRef(NamedTuple):
    """One entry of one visit, written `visit#n` with n from 1.

    `visit#n.m` is step m of a tuning session, for whoever lists its readings; files name the
    entry alone.
    """

    visit: str
    number: int
    step: int = 0

    def __str__(self) -> str:
        return f"{self.visit}#{self.number}{f'.{self.step}' if self.step else ''}"

    @property
    def whole(self) -> "EntryRef":
        """The entry, of which this may be a step."""
        return EntryRef(self.visit, self.number)

    @classmethod
    def parse(cls, text: str) -> Self:
        """The reference written as `visit#n`; ValueError where it is not one."""
        visit, mark, number = text.partition("#")
        if not (visit and mark and number.isascii() and number.isdigit() and int(number) > 0):
            raise ValueError(f"not visit#number: {text!r}")
        return cls(visit, int(number))


class Place(NamedTuple):
    """A machine, or one of its points, written `machine` or `machine/point`."""

    machine: str
    point: str = ""

    def __str__(self) -> str:
        return f"{self.machine}/{self.point}" if self.point else self.machine

    @classmethod
    def parse(cls, text: str) -> Self:
        machine, _, point = text.partition("/")
        return cls(machine, point)
