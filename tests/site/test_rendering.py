"""A large book is rendered by two processes, to the same bytes as by one."""

import errno
import os
import sys

import pytest
from example import EXAMPLE_DAY, example_ledger

from ledger.site import rendering

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="a process is forked")


@pytest.fixture(scope="module")
def by_one():
    return rendering.book_files(example_ledger(), EXAMPLE_DAY)


def test_two_processes_render_what_one_does(monkeypatch, by_one):
    processes = []
    render = rendering._files_of_units

    def watched(book):
        processes.append(os.getpid())
        return render(book)

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(rendering, "_files_of_units", watched)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one
    assert not processes, "the other half was rendered here as well"


def test_where_no_process_can_be_started_one_does_all(monkeypatch, by_one):
    def refuse():
        raise OSError(errno.ENOMEM, "Cannot allocate memory")

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(os, "fork", refuse)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one


def test_the_work_of_a_process_that_dies_is_done_by_the_other(monkeypatch, by_one):
    here = os.getpid()
    render = rendering._files_of_units

    def dies_elsewhere(book):
        if os.getpid() != here:
            os._exit(1)
        return render(book)

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(rendering, "_files_of_units", dies_elsewhere)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one
