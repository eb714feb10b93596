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

HEAVY = (
    "jsonschema",
    "networkx",
    "numpy",
    "scipy",
    "shapely",
    "importlib.metadata",
    "airportsdata",
    "cel_expr_python",
    "multiprocessing",
    "statistics",
    "subprocess",
    "csv",
    "difflib",
    "meshlint.workings.raster",
    "meshlint.report.plan",
    "meshlint.compare",
    "meshlint.docs",
)
"""What takes its time to load and no site needs that has no plan, no place and no mistake in it."""

RADIO = """\
meshlint: 1
site: {name: Small, country: GB, surroundings: office}
primary: a
units:
  a: {at: {x_m: 0, y_m: 0}, radios: {mid: &r {band: 5, channel: 36, width_mhz: 40, power_dbm: 20,
      antenna_gain_dbi: 3, generation: 802.11ax, streams: 2, carries: [clients, backhaul]}}}
  b: {at: {x_m: 9, y_m: 0}, radios: {mid: *r}}
backhaul: {b to a: {from: b, to: a, over: radio}}
clients: {phones: {count: 6, near: b, roams: true, down_mbps: 2, up_mbps: 1}}
neighbours: []
"""
"""Two units by radio without a plan: levels, airs and cells are all worked out, and by no array."""

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


@pytest.mark.parametrize("text", [SMALL, RADIO], ids=["a radio", "a radio link"])
def test_checking_a_small_site_loads_nothing_heavy(text: str, tmp_path: Path) -> None:
    site = tmp_path / "small.site.yaml"
    site.write_text(text)
    program = (
        "import sys\n"
        "from meshlint.cli import cli\n"
        f"cli.main(['check', '--no-cache', {str(site)!r}], standalone_mode=False)\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip() == "[]"


def test_no_file_of_the_package_outgrows_its_one_reason() -> None:
    long = {str(module) for module in MODULES if (PACKAGE / module).read_text().count("\n") > 400}
    assert long == set()
