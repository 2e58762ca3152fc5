"""The flow of data: an import may only lead to a room below, and to a subject below."""

import ast
import io
import tokenize
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "ledger"

# From the ground up. Rooms in one row do not know each other, nor do subjects.
ROOMS: tuple[tuple[str, ...], ...] = (
    ("compute", "files"),
    ("history", "model"),
    ("book", "filing"),
    ("upkeep",),
    ("rules", "pocket"),
    ("site",),
    ("proof", "group"),
    ("cli",),
)
SUBJECTS: tuple[tuple[str, ...], ...] = (
    ("instruments", "people"),
    ("speeds", "parts", "findings"),
    ("drift", "grease", "load"),
    ("register", "wear", "figures"),
    ("tuning", "due", "water", "duty"),
    ("line", "intime", "lockout", "downtime"),
    ("reliability", "ahead"),
)
MOST_CODE_LINES = 450

ROOM_RANK = {room: rank for rank, row in enumerate(ROOMS) for room in row}
SUBJECT_RANK = {subject: rank for rank, row in enumerate(SUBJECTS) for subject in row}


def imports(path: Path) -> list[tuple[int, str]]:
    """Every import of the package in a file, those inside functions too."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        match node:
            case ast.Import(names=names):
                found.extend((node.lineno, alias.name) for alias in names)
            case ast.ImportFrom(module=str(module), level=0):
                found.append((node.lineno, module))
                found.extend((node.lineno, f"{module}.{alias.name}") for alias in node.names)
    return [(line, name) for line, name in found if name.split(".")[0] == "ledger"]


def place_of(path: Path) -> tuple[str, ...]:
    return path.relative_to(PACKAGE).with_suffix("").parts


MODULES = sorted(
    path
    for path in PACKAGE.rglob("*.py")
    if len(place_of(path)) > 1 and place_of(path)[0] != "_schemas"
)
EVERY_MODULE = pytest.mark.parametrize(
    "path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE))
)


def rank(parts: tuple[str, ...]) -> tuple[int, int] | None:
    """The room's rank and, in `upkeep`, the subject's; None for what is no room."""
    if parts[0] not in ROOM_RANK:
        return None
    subject = SUBJECT_RANK.get(parts[1], -1) if parts[0] == "upkeep" and len(parts) > 1 else -1
    return ROOM_RANK[parts[0]], subject


def leads_down(own: tuple[str, ...], other: tuple[str, ...]) -> bool:
    home = 2 if own[0] == "upkeep" else 1
    if own[:home] == other[:home]:
        return True
    below, here = rank(other), rank(own)
    return below is None or here is None or (below < here and below[0] <= here[0])


def test_every_room_and_subject_has_its_place():
    assert {place_of(path)[0] for path in MODULES} == set(ROOM_RANK)
    folders = {
        path.name for path in (PACKAGE / "upkeep").iterdir() if (path / "__init__.py").exists()
    }
    assert folders == set(SUBJECT_RANK)


@EVERY_MODULE
def test_imports_lead_down(path: Path):
    own = place_of(path)
    wrong = [
        f"line {line}: {'/'.join(own)} imports {name}"
        for line, name in imports(path)
        if len(name.split(".")) > 1 and not leads_down(own, tuple(name.split(".")[1:]))
    ]
    assert not wrong


def test_a_module_that_imports_upward_would_be_found(tmp_path: Path):
    """The walk sees imports inside functions, and subjects that look up at each other."""
    module = tmp_path / "late.py"
    module.write_text("def f():\n    from ledger.cli import main\n    import ledger.book.svg\n")
    assert {name for _, name in imports(module)} == {
        "ledger.cli",
        "ledger.cli.main",
        "ledger.book.svg",
    }
    assert not leads_down(("book", "svg"), ("upkeep", "wear", "page"))
    assert not leads_down(("upkeep", "drift", "page"), ("upkeep", "wear", "page"))
    assert not leads_down(("upkeep", "drift", "page"), ("upkeep", "grease", "page"))
    assert leads_down(("upkeep", "wear", "page"), ("upkeep", "drift", "found"))
    assert leads_down(("upkeep", "wear", "page"), ("upkeep", "wear", "found"))


def code_lines(text: str) -> int:
    """Lines that hold code: neither blank, nor a comment, nor part of a docstring."""
    skipped = {
        tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT,
        tokenize.ENDMARKER,
    }  # fmt: skip
    held: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in skipped:
            held.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(
            node
        ):
            first = node.body[0]
            held.difference_update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return len(held)


@EVERY_MODULE
def test_a_module_is_one_idea(path: Path):
    assert code_lines(path.read_text(encoding="utf-8")) <= MOST_CODE_LINES


@pytest.mark.parametrize(
    "path", [path for path in MODULES if place_of(path)[0] == "compute"], ids=lambda path: path.stem
)
def test_computations_know_no_clock_and_no_files(path: Path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    called = {
        ast.unparse(node.func)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name)
    }
    forbidden = {"open", "print", "date.today", "datetime.now", "datetime.today", "time.time"}
    assert not called & forbidden
