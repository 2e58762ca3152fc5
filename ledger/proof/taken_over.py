"""Settings taken over when the record of a drive began: too late, or not approved yet."""

from collections.abc import Iterator
from typing import Any

from ledger.history.commit import Change
from ledger.proof import records
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note

_LIMITS = (b"hz_limits", b"flow_limits_")
"""What a machine's file holds of a drive that can be set."""


class TakenOverTrail:
    """Feed it the landings in order, then ask `end` for what stands unapproved."""

    def __init__(self, blobs: records.Reader) -> None:
        self._blobs = blobs
        self._open: dict[str, bool] = {}

    def land(self, at: AtLanding) -> Iterator[Item]:
        """What a landing marked as taken over of a drive that was there before it."""
        for change in at.commit.changes:
            if not records.is_setpoints(change.path):
                continue
            marked = self._marked(change.path, records.new_bytes(change, self._blobs))
            self._open[change.path] = any(not records.is_approved(item) for item in marked)
            judged = not at.commit.boundary and not at.begins
            if judged and self._is_new(change, marked) and self._was_there(at, change):
                text = "its drive was in the record before that"
                yield at.item(Irregularity.TAKEN_OVER, text, change.path)

    def end(self) -> Iterator[Item]:
        if not any(self._open.values()):
            return
        from ledger.upkeep.register.words import TAKEN_OVER  # noqa: PLC0415 - costs more than it

        for path, is_open in sorted(self._open.items()):
            if is_open:
                yield Item(Note.TAKEN_OVER, TAKEN_OVER, about=path)

    def _is_new(self, change: Change, marked: list[dict[str, Any]]) -> bool:
        before = self._marked(change.path, records.old_bytes(change, self._blobs))
        return len(marked) > len(before)

    def _marked(self, path: str, raw: bytes | None) -> list[dict[str, Any]]:
        if b"taken_over" not in records.searchable(path, raw):
            return []
        return [item for item in records.setting_changes(path, raw) or () if item.get("taken_over")]

    def _was_there(self, at: AtLanding, change: Change) -> bool:
        """Whether the machine's file had a drive that can be set before the landing."""
        machine = change.path.replace("setpoints/", "equipment/", 1)
        own = next((one for one in at.commit.changes if one.path == machine), None)
        if own is None:
            return True
        old = records.old_bytes(own, self._blobs)
        if old is None:
            # A machine that only has a new name was there.
            new = records.new_bytes(own, self._blobs)
            return b"formerly" in records.searchable(machine, new)
        return any(word in records.searchable(machine, old) for word in _LIMITS)
