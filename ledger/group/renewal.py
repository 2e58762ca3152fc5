"""The exports of a group's sites, renewed by other processes, here or on a cluster that exists."""

import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from pathlib import Path

from ledger.files.names import SITE_FILE
from ledger.site.roll_up import Order, Renewed, is_current, renew

_GONE = "the process that renewed it ended before it was done"


def sites_named(named: Path) -> list[Path]:
    """The folders of a group: those below a folder that hold site.yaml, or those that a list names.

    A list has one folder a line, from where it lies; lines that begin with `#` are left out.
    Raises OSError, and UnicodeDecodeError for a list that is no UTF-8 text.
    """
    if named.is_dir():
        return sorted(path.parent for path in named.glob(f"*/{SITE_FILE}"))
    lines = (line.strip() for line in named.read_text("utf-8").splitlines())
    return [(named.parent / line).resolve() for line in lines if line and line[0] != "#"]


def renew_all(orders: Sequence[Order], scheduler: str = "") -> dict[str, str]:
    """Renew each export that is not current; by id why it could not be, "" where it could.

    `scheduler` is the address of a Dask cluster whose workers see the same folders; without one
    the processes are of this machine. A site during which a process ends is tried once more, alone.
    Raises OSError where no cluster answers.
    """
    stale = [order for order in orders if not is_current(order)]
    if not stale:
        return {}
    if scheduler:
        # Nobody else needs it, and it takes a second to load.
        from distributed import Client  # noqa: PLC0415

        with Client(scheduler, set_as_default=False) as client:  # type: ignore[no-untyped-call]
            done = _run(client.get_executor(), stale)
    else:
        with _pool(min(len(stale), os.cpu_count() or 1)) as pool:
            done = _run(pool, stale)
        for number, order in enumerate(stale):
            if done[number].fault == _GONE:
                with _pool(1) as alone:
                    (done[number],) = _run(alone, [order])
    return {one.ident: one.fault for one in done}


def _pool(workers: int) -> ProcessPoolExecutor:
    # A fork would copy the threads of what reads Parquet here, at whatever they hold.
    ways = multiprocessing.get_all_start_methods()
    way = multiprocessing.get_context("forkserver" if "forkserver" in ways else "spawn")
    return ProcessPoolExecutor(workers, mp_context=way)


def _run(pool: Executor, orders: Sequence[Order]) -> list[Renewed]:
    """What became of each, in their order."""
    futures = [_submitted(pool, order) for order in orders]
    return [_result(order, future) for order, future in zip(orders, futures, strict=True)]


def _submitted(pool: Executor, order: Order) -> "Future[Renewed] | None":
    try:
        return pool.submit(renew, order)
    except RuntimeError:  # the pool is broken already
        return None


def _result(order: Order, future: "Future[Renewed] | None") -> Renewed:
    try:
        return Renewed(ident=order.ident, fault=_GONE) if future is None else future.result()
    except Exception:  # noqa: BLE001  `renew` tells its own; this is of the process, by any library
        return Renewed(ident=order.ident, fault=_GONE)
