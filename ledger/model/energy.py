"""The energies of a machine, and how each is isolated, released and proved gone."""

from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Isolation:
    """How something is kept from moving or pressing: `device` is what takes the lock."""

    isolate_at: str
    device: str
    prove: str
    release: str = ""
    wait_minutes: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Energy(Isolation):
    """One energy of a machine; `magnitude` in words, such as `460 V`.

    With `only_here` it harms nobody but who works at the machine itself.
    """

    kind: str
    magnitude: str
    only_here: bool = False
