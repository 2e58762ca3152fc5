"""The flow of data: an import may only lead to a layer below, wherever it stands in a file."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "ledger"

# From the ground up. Layers in one row do not know each other.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("diagnostics", "resources", "compute"),
    ("source",),
    ("schema",),
    ("model",),
    ("assess",),
    ("check", "report", "history", "edit"),
    ("write", "pocket"),
    ("pipeline",),
    ("proof",),
    ("cli",),
)

RANK = {layer: rank for rank, row in enumerate(LAYERS) for layer in row}


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


def layer_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


MODULES = sorted(
    path
    for path in PACKAGE.rglob("*.py")
    if layer_of(path) not in {"__init__", "__main__", "_schemas"}
)


def test_every_layer_has_its_place():
    assert {layer_of(path) for path in MODULES} <= set(RANK)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_lead_down(path: Path):
    own = layer_of(path)
    wrong = []
    for line, name in imports(path):
        parts = name.split(".")
        if len(parts) < 2 or parts[1] not in RANK:
            continue
        other = parts[1]
        if other != own and RANK[other] >= RANK[own]:
            wrong.append(f"line {line}: {own} imports {name}")
    assert not wrong


def test_a_module_that_imports_upward_would_be_found(tmp_path: Path):
    """The walk sees imports inside functions as well."""
    module = tmp_path / "late.py"
    module.write_text("def f():\n    from ledger.cli import main\n    import ledger.write.svg\n")
    assert {name for _, name in imports(module)} == {
        "ledger.cli",
        "ledger.cli.main",
        "ledger.book.svg",
    }


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_modules_stay_under_400_lines(path: Path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize(
    "path",
    [path for path in MODULES if layer_of(path) == "compute"],
    ids=lambda path: path.stem,
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
