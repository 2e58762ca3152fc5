"""A site as it will be once some new files are in it, to be checked before anything is written."""

from collections.abc import Mapping
from dataclasses import dataclass

from ledger.source.tree import FileTree


@dataclass(frozen=True, slots=True, kw_only=True)
class WithNewFiles:
    """The files of `tree` and the new ones by path; a new one hides an old one of its path."""

    tree: FileTree
    new: Mapping[str, str]

    def paths(self) -> tuple[str, ...]:
        return tuple(sorted({*self.tree.paths(), *self.new}))

    def read(self, path: str) -> bytes:
        text = self.new.get(path)
        return self.tree.read(path) if text is None else text.encode()
