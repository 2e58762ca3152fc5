"""The two sides of a merge: what each had done since they parted."""

import heapq
from collections.abc import Sequence

from ledger.history.commit import Change, Commit


class Sides:
    """What each commit so far touched, to tell what either side of a merge had done."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {}
        self._parents: list[tuple[int, ...]] = []
        self._touched: list[tuple[str, ...]] = []

    def add(self, commit: Commit) -> None:
        self._index[commit.oid] = len(self._parents)
        self._parents.append(
            tuple([self._index[parent] for parent in commit.parents if parent in self._index])
        )
        changes = (*commit.own_changes, *commit.dropped) if commit.dropped else commit.own_changes
        self._touched.append(tuple([change.path for change in changes]))

    def know(self, parents: Sequence[str]) -> bool:
        """Whether every parent has been added."""
        return all(map(self._index.__contains__, parents))

    def dropped(
        self, parents: Sequence[str], against: list[dict[str, Change]]
    ) -> tuple[Change, ...]:
        """Changes of one side that are not in the merge, where a side that never touched the path
        has the merge's version.
        """
        touched = self._touched_by_side(parents)
        lost: dict[str, Change] = {}
        for side, differing in enumerate(against):
            for path in touched[side] & differing.keys():
                if any(
                    path not in against[other] and path not in touched[other]
                    for other in range(len(against))
                ):
                    lost.setdefault(path, differing[path])
        return tuple(lost[path] for path in sorted(lost))

    def _touched_by_side(self, parents: Sequence[str]) -> list[set[str]]:
        """For each parent, the paths touched by commits it reaches and not every parent does."""
        every = (1 << len(parents)) - 1
        reached: dict[int, int] = {}
        for side, parent in enumerate(parents):
            index = self._index[parent]
            reached[index] = reached.get(index, 0) | 1 << side
        touched: list[set[str]] = [set() for _ in parents]
        # Children come after their parents, so the newest index left is reached in full already.
        newest = [-index for index in reached]
        heapq.heapify(newest)
        apart = sum(mask != every for mask in reached.values())
        while apart:
            index = -heapq.heappop(newest)
            mask = reached[index]
            if mask != every:
                apart -= 1
                for bit, paths in enumerate(touched):
                    if mask >> bit & 1:
                        paths.update(self._touched[index])
            for parent_index in self._parents[index]:
                before = reached.get(parent_index)
                after = (before or 0) | mask
                if before is None:
                    heapq.heappush(newest, -parent_index)
                    apart += after != every
                elif before != every and after == every:
                    apart -= 1
                reached[parent_index] = after
        return touched
