"""The house stands as the contributor's guide draws it."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import meshlint

PACKAGE = Path(meshlint.__file__).parent

# A stage may import what stands in its own row or above it, never below.
ORDER = (
    {"datafiles"},
    {"physics", "law"},
    {"site"},
    {"workings"},
    {"lint"},
    {"compare"},
    {"report", "output", "starter"},
    {"run"},
    {"fleet"},
    {"terminal"},
    {"commands"},
    {"cli", "docs", "__main__"},
)

HEAVY = ("jsonschema", "networkx", "numpy", "shapely", "importlib.metadata", "airportsdata")

SMALL = """\
meshlint: 1
site: {name: Small, country: GB}
primary: a
units: {a: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients]}}}}
"""


def rank(module: str) -> int | None:
    return next((row for row, names in enumerate(ORDER) if module in names), None)


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and node.module and node.module != "meshlint":
            found.add(node.module)
        elif isinstance(node, ast.ImportFrom) and node.module == "meshlint":
            found |= {f"meshlint.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name.split(".")[1] for name in found if name.startswith("meshlint.")}


MODULES = sorted(
    path.relative_to(PACKAGE) for path in PACKAGE.rglob("*.py") if path.name != "__init__.py"
)


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_imports_point_one_way(module: Path) -> None:
    own = rank(module.parts[0].removesuffix(".py"))
    assert own is not None, f"{module} has no place in the order of stages"
    for other in imports(PACKAGE / module) - {"__version__"}:
        assert rank(other) is not None, f"{module} imports {other}, which has no place"
        assert rank(other) <= own, f"{module} imports {other}, which stands after it"


def test_checking_a_small_site_loads_nothing_heavy(tmp_path: Path) -> None:
    site = tmp_path / "small.site.yaml"
    site.write_text(SMALL)
    program = (
        "import sys\n"
        "from meshlint.cli import cli\n"
        f"cli.main(['check', {str(site)!r}], standalone_mode=False)\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"


def test_no_file_of_the_package_outgrows_its_one_reason() -> None:
    """The model alone may: one record for each thing in a site file, and nothing else."""
    long = {str(module) for module in MODULES if (PACKAGE / module).read_text().count("\n") > 400}
    assert long <= {"site/model.py"}
