"""The program at its pinned time, where taps fall half a second apart however fast the keys come.

`python -m tests.even_taps WORDS`, as `python -m tests.pinned_clock WORDS`.
"""

import itertools
from types import SimpleNamespace

from ledger.cli import questions as tap_tachometer
from ledger.cli.start import entry_point
from tests.pinned_clock import pinned_clock

if __name__ == "__main__":
    keys = itertools.count()
    tap_tachometer.time = SimpleNamespace(monotonic=lambda: next(keys) / 2)
    entry_point(pinned_clock)
