"""Dependencies point down only, and a package brings no more along than it needs."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import verify

PACKAGE = Path(verify.__file__).parent

# A package may import those of a lower rank, and itself.
RANK = {
    "values": 0,
    "measure": 1,
    "judge": 2,
    "checklist": 3,
    "machine": 4,
    "record": 5,
    "probe": 6,
    "run": 7,
    "report": 8,
    "deliver": 9,
    "ledger": 9,
    "ask": 10,
    "cli": 11,
}

# What importing a package alone must not bring along: it costs start-up, or does not belong there.
HEAVY = {
    "rich",
    "jinja2",
    "yaml",
    "cryptography",
    "joserfc",
    "platformdirs",
    "click",
    "psutil",
    "rfc8785",
    "PIL",
}
ALLOWED: dict[str, set[str]] = {
    "ask": {"rich"},
    "cli": {"click"},
}


def imports_of(module: Path) -> set[str]:
    tree = ast.parse(module.read_text(encoding="utf-8"))
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: imports are written in full"
            names.add(node.module or "")
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
    return names


def test_every_package_has_its_place() -> None:
    found = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert found - {"testing"} == set(RANK)


@pytest.mark.parametrize("package", RANK)
def test_a_package_imports_only_what_lies_below_it(package: str) -> None:
    for module in (PACKAGE / package).rglob("*.py"):
        for name in imports_of(module):
            parts = name.split(".")
            if parts[0] != "verify" or len(parts) < 2 or parts[1] == package or parts[1] not in RANK:
                assert parts[:2] != ["verify", "testing"], f"{module.name} imports {name}"
                continue
            assert RANK[parts[1]] < RANK[package], f"{package}/{module.name} imports {name}"


@pytest.mark.parametrize("package", RANK)
def test_a_package_alone_brings_nothing_heavy_along(package: str) -> None:
    code = f"import sys, verify.{package}; print(' '.join(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    tops = {name.split(".")[0] for name in loaded}
    assert tops & HEAVY <= ALLOWED.get(package, set())
    above = {name.split(".")[1] for name in loaded if name.startswith("verify.")}
    assert all(RANK[name] <= RANK[package] for name in above if name in RANK)


@pytest.mark.parametrize("package", RANK)
def test_all_lists_what_is_there(package: str) -> None:
    init = ast.parse((PACKAGE / package / "__init__.py").read_text(encoding="utf-8"))
    imported = {
        alias.asname or alias.name
        for node in init.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    listed = [
        ast.literal_eval(node.value)
        for node in init.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and node.targets[0].id == "__all__"
    ]
    if package == "cli":
        return
    names = listed[0] if listed else []
    assert set(names) == imported
