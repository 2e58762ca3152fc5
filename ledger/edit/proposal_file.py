"""The file of a drive's settings with a proposal in it, written only over what was read."""

from dataclasses import dataclass
from pathlib import Path

from ledger.edit.proposal import Proposal
from ledger.edit.proposal_text import appended, new_file
from ledger.edit.visit_file import schema_path_of
from ledger.source.save import create_file, replace_file
from ledger.source.tree import DiskTree


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalFile:
    """The bytes as they were, None where there was no file, and as they will be."""

    path: str
    old: bytes | None
    new: bytes

    @property
    def text(self) -> str:
        return self.new.decode()

    @property
    def added(self) -> str:
        """The lines that a review will show."""
        if self.old is None:
            return self.text
        before = 0
        while before < len(self.old) and self.old[before] == self.new[before]:
            before += 1
        length = len(self.new) - len(self.old)
        return self.new[before : before + length].decode(errors="replace").strip("\r\n")


def proposal_file(root: Path, proposal: Proposal) -> ProposalFile:
    """The drive's file with the proposal at its end.

    Raises ValueError where nothing can be put into the file without touching it, and
    UnreadableFileError where it cannot be read.
    """
    ident = proposal.machine.ident
    path = f"setpoints/{ident}.yaml"
    tree = DiskTree(root)
    if path not in tree.paths():
        schema = schema_path_of(root, "setpoints", depth=1)
        return ProposalFile(path=path, old=None, new=new_file(proposal.change(), schema))
    old = tree.read(path)
    return ProposalFile(path=path, old=old, new=appended(old, proposal.change(), ident))


def write_over(root: Path, made: ProposalFile) -> Path:
    """Put the new bytes in the place of the old, whole or not at all.

    Raises FileExistsError where somebody changed the file since it was read, OSError where it
    cannot be written, and UnconfirmedError where it stands but may not survive a loss of power.
    """
    target = root / made.path
    if not target.parent.resolve().is_relative_to(root.resolve()):
        raise OSError(f"{target.parent} leads out of the site through a link")
    if made.old is None:
        create_file(target, made.new)
    elif target.read_bytes() != made.old:
        raise FileExistsError(f"{made.path} was changed since it was read; propose again")
    else:
        replace_file(target, made.new)
    return target
