"""A tree of files becomes documents and diagnostics, all of them in one run."""

import gc

import pytest

from ledger.files import reading, yaml_fast
from ledger.files.paths import Kind
from ledger.files.reading import read_documents
from ledger.files.tree import UnreadableFileError
from ledger.files.yaml_fast import RefusedError, accept


class Shelf:
    """A FileTree in memory; None stands for a file that cannot be read."""

    def __init__(self, **files):
        self.files = {name.replace("__", "/") + ".yaml": content for name, content in files.items()}

    def paths(self):
        return tuple(sorted(self.files))

    def read(self, path):
        if self.files[path] is None:
            raise UnreadableFileError("it is a link")
        return self.files[path].encode()


def test_documents_come_in_the_order_of_their_paths():
    loaded = read_documents(Shelf(tasks__b="x: 1", site="format: 1", equipment__a="y: 2"))
    assert [(d.kind, d.ident, d.value) for d in loaded.documents] == [
        (Kind.MACHINE, "a", {"y": 2}),
        (Kind.SITE, "site", {"format": 1}),
        (Kind.TASK, "b", {"x": 1}),
    ]
    assert loaded.diagnostics == ()


def test_the_first_fault_hides_no_other():
    shelf = Shelf(site="a: 1\na: 2\nb: *x\n", tasks__one="a: [", tasks__Two="", parts__three=None)
    loaded = read_documents(shelf)
    assert [(str(d.position), d.rule) for d in loaded.diagnostics] == [
        ("parts/three.yaml", "unreadable-file"),
        ("site.yaml:2:1", "duplicate-key"),
        ("site.yaml:3:4", "alias"),
        ("tasks/Two.yaml", "misnamed-file"),
        ("tasks/one.yaml:1:4", "open-bracket"),
    ]


def test_what_can_be_read_of_a_faulty_file_is_kept_and_the_rest_is_named():
    loaded = read_documents(Shelf(site="a: 1\na: 2\n", tasks__one="a: [", parts__three=None))
    assert [(d.ident, d.value) for d in loaded.documents] == [("site", {"a": 1})]
    assert [(s.kind, s.ident) for s in loaded.unread] == [(Kind.PART, "three"), (Kind.TASK, "one")]


def test_a_file_that_only_the_slow_path_reads_is_read_all_the_same():
    text = "a: b\n...\n"
    with pytest.raises(RefusedError):
        accept(text)
    assert read_documents(Shelf(site=text)).documents[0].value == {"a": "b"}


def test_without_libyaml_everything_is_read_slowly(monkeypatch):
    monkeypatch.setattr(yaml_fast, "CParser", None)
    with pytest.raises(RefusedError):
        accept("a: 1\n")
    assert read_documents(Shelf(site="a: 1\n")).documents[0].value == {"a": 1}


def test_progress_is_told_and_garbage_collection_is_as_before():
    told = []
    assert gc.isenabled()
    read_documents(
        Shelf(site="a: 1", tasks__b="c: 1"), lambda done, total: told.append((done, total))
    )
    assert told == [(1, 2), (2, 2)]
    assert gc.isenabled()


@pytest.mark.parametrize(
    "fault", [KeyError("x"), RecursionError("too deep"), MemoryError(), UnicodeError("half")], ids=repr
)  # fmt: skip
def test_a_fault_of_the_program_is_told_of_one_file_and_the_others_are_read(monkeypatch, fault):
    def accept_all_but_one(text):
        if "trap" in text:
            raise fault
        return accept(text)

    monkeypatch.setattr(reading, "accept", accept_all_but_one)
    loaded = read_documents(Shelf(site="a: 1", tasks__one="trap: 1", tasks__two="b: 2"))
    assert [d.value for d in loaded.documents] == [{"a": 1}, {"b": 2}]
    assert [source.ident for source in loaded.unread] == ["one"]
    (told,) = loaded.diagnostics
    assert (told.rule, told.position.path, told.is_error) == (
        "program-fault",
        "tasks/one.yaml",
        True,
    )
    assert type(fault).__name__ in told.message
    assert "accept_all_but_one" in told.message


def test_a_disk_that_fails_within_a_file_is_told_of_that_file():
    class Failing(Shelf):
        def read(self, path):
            if path == "tasks/one.yaml":
                raise OSError(5, "Input/output error")
            return super().read(path)

    loaded = read_documents(Failing(site="a: 1", tasks__one="b: 1"))
    assert [(str(d.position), d.message) for d in loaded.diagnostics] == [
        ("tasks/one.yaml", "the file cannot be read: Input/output error")
    ]
