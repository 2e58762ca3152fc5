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
    render = rendering.pages_as_files

    def watched(pages):
        processes.append(os.getpid())
        return render(pages)

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(rendering, "pages_as_files", watched)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one
    assert processes == [os.getpid()], "the other half was rendered here as well"


def test_where_no_process_can_be_started_one_does_all(monkeypatch, by_one):
    def refuse():
        raise OSError(errno.ENOMEM, "Cannot allocate memory")

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(os, "fork", refuse)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one


def test_the_work_of_a_process_that_dies_is_done_by_the_other(monkeypatch, by_one):
    here = os.getpid()
    render = rendering.pages_as_files

    def dies_elsewhere(pages):
        if os.getpid() != here:
            os._exit(1)
        return render(pages)

    monkeypatch.setattr(rendering, "_MANY_VISITS", 0)
    monkeypatch.setattr(rendering, "pages_as_files", dies_elsewhere)
    assert rendering.book_files(example_ledger(), EXAMPLE_DAY) == by_one
