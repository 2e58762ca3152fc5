"""The one judge: what each landing did to the record, held against the rules of the tip before it.

`audit` shows it every landing of the line; `review` shows it those, and then the merge that is
asked for as if it had landed. So both answer alike.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from ledger.files.names import BOOK, SITE_FILE
from ledger.history.commit import Change, Commit
from ledger.history.log import Landing
from ledger.history.repository import Repository
from ledger.model.site import Site
from ledger.proof import records
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.dispositions import AuditTrail
from ledger.proof.moves import FormatMove, format_move, moved_here
from ledger.proof.plan_trail import PlanTrail
from ledger.proof.rules import Rules
from ledger.proof.setting_trail import SettingTrail
from ledger.proof.signatures import Signatures
from ledger.proof.statements import Statements
from ledger.proof.taken_over import TakenOverTrail
from ledger.proof.visit_trail import VisitTrail

# Two clocks that made commits one after the other may be a day apart before it is held a forgery.
_CLOCK_SLACK_S = 86_400


class Judge:
    """Feed it the landings of a line in order, then ask `end` for what only the whole shows.

    `today` is the site of the head, `remembered` are heads written down at earlier audits, and
    `anchor` is the landing at which trust begins anew, "" for the first alone.
    """

    def __init__(
        self,
        repository: Repository,
        blobs: records.Reader,
        signatures: Signatures,
        today: Site,
        remembered: frozenset[str] = frozenset(),
        anchor: str = "",
    ) -> None:
        self.repository = repository
        self.blobs = _MovedBlobs(blobs)
        self._signatures = signatures
        self._remembered = remembered
        self.rules = Rules(self.blobs, today, anchor)
        self._statements = Statements(self.blobs, signatures)
        self.visits = VisitTrail(self.blobs, self.rules)
        self.settings = SettingTrail(self.blobs, self.rules, signatures)
        self._plan = PlanTrail(self.blobs)
        self._taken_over = TakenOverTrail(self.blobs)
        self.audits = AuditTrail(self.blobs, signatures)
        # The files of the tip but visits and pages, with their object ids.
        self._files: dict[str, str] = {}
        self.moves: list[FormatMove] = []

    def land(self, landing: Landing) -> Iterable[Item]:
        """What to report of the next landing, but for what `end` alone can know."""
        return () if self.takes(landing) else self.judge(landing)

    def takes(self, landing: Landing) -> bool:
        """Whether it files visits and there is nothing to say of them; then they are taken in.

        So are nearly all landings of a long history, and `judge` is slower. This may refuse what
        that finds in order, never the other way round.
        """
        if (
            not landing.additions
            or landing.is_turned
            or landing.former in self._remembered
            or not self.rules.are_as_before(landing)
            or not self.visits.take(landing.additions, self.rules.site)
        ):
            return False
        self.rules.keep()
        return True

    def judge(self, landing: Landing) -> Iterator[Item]:
        """What to report of a landing that was not taken in as it is."""
        if landing.is_turned:
            text = "its first parent is not the tip before it; judged as if it were"
            yield Item(Note.TURNED, text, commit=landing.commit)
        for commit in landing.commits:
            yield from self._commit(commit)
        if landing.commit.committer.seconds is None:
            text = (
                "its date cannot be read, so git cannot tell whether what it brought came in time"
            )
            yield Item(Irregularity.CLOCK, text, commit=landing.commit)
        others = [one for one in landing.commit.changes if not records.is_visit(one.path)]
        touches_site = any(change.path == SITE_FILE for change in others)
        for commit in landing.commits if touches_site else ():
            move = format_move(self.repository, commit, self.blobs)
            if move is not None:
                self._moved(move)
                kind = Irregularity.FORMAT if move.differing else Note.FORMAT
                yield Item(kind, move.words, about=SITE_FILE, commit=commit)
        at = self._at(landing, others)
        for change in others:
            if change.path.startswith(f"{BOOK}/"):
                continue
            if change.new_text_oid is None:
                self._files.pop(change.path, None)
            else:
                self._files[change.path] = change.new_text_oid
        yield from self.visits.land(at, is_seen=landing.former in self._remembered)
        yield from self._begun_again(landing)
        if others or landing.commit.is_merge:
            yield from self.settings.land(at, self._files)
            yield from self._taken_over.land(at)
            yield from self._plan.land(at, self._files)
            yield from self.audits.land(at, self._files)
        if at.begins and (moved := moved_here(self.repository, landing.commit)) is not None:
            yield moved
        yield from self.rules.land(at)

    def end(self) -> Iterator[Item]:
        """What can only be known once all has landed."""
        for trail in (self.visits, self.settings, self._taken_over, self._plan, self.rules):
            yield from trail.end()

    def _begun_again(self, landing: Landing) -> Iterator[Item]:
        """That a merge joins another history of the site, though the line has one of its own.

        All that comes with a beginning is taken as it is, so two of them can hide what one shows.
        A second start that brought nothing else, and left nothing otherwise, hides nothing.
        """
        if self.rules.begin_with(landing) or not self.rules.began_as:
            return
        for commit in landing.commits if landing.commit.is_merge else ():
            if not any(_begins(change) for change in commit.own_changes):
                continue
            others = [one for one in landing.commits if one not in (commit, landing.commit)]
            beside = {change.path for one in others for change in one.own_changes}
            if any(map(_is_record, beside)) or not all(map(self._is_kept, commit.own_changes)):
                text = (
                    f"it joins a second history of this site, begun by commit {commit.oid[:10]}; "
                    "git cannot tell which of the two is the record"
                )
                yield Item(Irregularity.REWRITTEN, text, commit=landing.commit)

    def _is_kept(self, change: Change) -> bool:
        """Whether a record is still as a commit left it."""
        path = change.path
        found = self.visits.text_of(path) if records.is_visit(path) else self._files.get(path)
        return not _is_record(path) or found == change.new_text_oid

    def _at(self, landing: Landing, others: Sequence[Change]) -> AtLanding:
        zone, seconds = self.rules.site.zone, landing.commit.committer.seconds
        return AtLanding(
            landing=landing,
            ruling=self.rules.ruling(landing),
            zone=zone,
            landed_at=None if seconds is None else datetime.fromtimestamp(seconds, zone),
            begins=self.rules.begin_with(landing),
            arrived=bool(others)
            and self._statements.arrive(others, self.rules.site, self.rules.began_as),
            blobs=self.blobs,
            signatures=self._signatures,
            statements=self._statements,
        )

    def _moved(self, move: FormatMove) -> None:
        self.moves.append(move)
        if not move.differing:
            self.blobs.moved |= dict(move.files.values())
            self.settings.forget_texts()

    def _commit(self, commit: Commit) -> Iterator[Item]:
        """What a commit says of itself, wherever it was written."""
        for oddity in commit.text.oddities:
            yield Item(Note.ODD_COMMIT, oddity, commit=commit)
        if commit.set_back_s > _CLOCK_SLACK_S:
            text = f"dated {commit.set_back_s / 86_400:.1f} days before the commit it builds on"
            yield Item(Irregularity.CLOCK, text, commit=commit)


def _begins(change: Change) -> bool:
    return change.path == SITE_FILE and change.old_oid is None


def _is_record(path: str) -> bool:
    return path == SITE_FILE or records.is_visit(path) or records.is_setpoints(path)


class _MovedBlobs:
    """Blobs, but what exact moves changed reads as they left it, so that no move is an edit."""

    def __init__(self, blobs: records.Reader) -> None:
        self._blobs = blobs
        self.moved: dict[str, bytes] = {}

    def read(self, oid: str) -> bytes:
        found = self.moved.get(oid)
        return self._blobs.read(oid) if found is None else found
