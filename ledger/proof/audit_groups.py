"""What an audit found, drawn together: one commit's offences of one kind are told as one."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from ledger.proof.audit_items import CommitMark, Item, Note, Offence

_NAMES_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Items of one kind, all of one commit, or all of none."""

    kind: Offence | Note
    commit: CommitMark | None
    items: tuple[Item, ...]

    @property
    def about(self) -> str:
        """The one thing that it is about, or the first few by their short names."""
        if len(self.items) == 1:
            return self.items[0].about
        names = list(dict.fromkeys(_short(item.about) for item in self.items if item.about))
        more = len(names) - _NAMES_SHOWN
        return "; ".join(names[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")

    @property
    def words(self) -> str:
        """What is said of all, or else of the first."""
        first = self.items[0].words
        alike = all(item.words == first for item in self.items)
        return first if alike else f"of the first: {first}"


def of_each_kind(
    items: Sequence[Item], *, every: bool
) -> Iterator[tuple[Offence | Note, list[Group]]]:
    """The groups of each kind, in the order that the items come in; `every` leaves each alone."""
    for kind, of_kind in groupby(items, key=lambda item: item.kind):
        yield kind, _groups(kind, list(of_kind), every=every)


def commit_count(groups: Sequence[Group]) -> int:
    """In how many commits."""
    return len({group.commit.oid for group in groups if group.commit is not None})


def _groups(kind: Offence | Note, items: Sequence[Item], *, every: bool) -> list[Group]:
    by_commit: dict[object, list[Item]] = {}
    for number, item in enumerate(items):
        alone = every or item.commit is None
        by_commit.setdefault(number if alone else item.commit, []).append(item)
    return [
        Group(kind=kind, commit=members[0].commit, items=tuple(members))
        for members in by_commit.values()
    ]


def _short(path: str) -> str:
    """The name of a file without its folders, which for a visit says when and by whom."""
    return path.rpartition("/")[2].replace(".yaml", "")
