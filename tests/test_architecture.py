"""The house stands as the contributor's guide draws it."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

import meshlint

PACKAGE = Path(meshlint.__file__).parent

# A stage may import what stands in its own row or above it, never below.
ORDER = (
    {"datafiles", "digest", "room"},
    {"physics", "law"},
    {"site"},
    {"workings"},
    {"lint"},
    {"usual", "compare", "gains"},
    {"report", "output", "starter"},
    {"page"},
    {"run"},
    {"api"},
    {"edits"},
    {"what_if"},
    {"fleet"},
    {"terminal"},
    {"commands"},
    {"cli", "packs", "docs", "build_packs", "start", "__main__"},
)

STOREYS = (
    {"unknown", "fact", "site_workings", "facts"},
    {"topology"},
    {"spectrum"},
    {"security"},
    {"propagation"},
    {"links"},
    {"contention", "coverage", "wired", "governance"},
    {"capacity"},
    {"alternatives"},
    {"consequences", "subjects"},
    {"catalogue"},
    {"installed"},
)
"""The rooms of `meshlint.workings`, lower storeys first. Two rooms of one storey know nothing
of each other; the files of the lowest are one room."""

HEAVY = (
    "jsonschema",
    "networkx",
    "numpy",
    "scipy",
    "shapely",
    "importlib.metadata",
    "airportsdata",
    "cel_expr_python",
    "jsonschema_rs",
    "json",
    "hashlib",
    "hmac",
    "email.utils",
    "tempfile",
    "pkgutil",
    "multiprocessing",
    "statistics",
    "subprocess",
    "csv",
    "difflib",
    "meshlint.workings.propagation.raster",
    "meshlint.workings.propagation.grid_losses",
    "jinja2",
    "meshlint.page",
    "meshlint.report.plan",
    "meshlint.compare",
    "meshlint.gains",
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


def rank(module: str, order: tuple[set[str], ...] = ORDER) -> int | None:
    return next((row for row, names in enumerate(order) if module in names), None)


@cache
def imported(path: Path, *, at_run_time: bool = False) -> set[str]:
    """Return the modules and packages of meshlint that a file imports, names within them too.

    At run time it does not import what it needs for its types alone.
    """
    found = set()
    tree = ast.parse(path.read_text())
    if at_run_time:
        for node in ast.walk(tree):
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                node.body = [ast.Pass()]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.startswith("meshlint.")}


def imports(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imported(path)}


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


@pytest.mark.parametrize("module", [m for m in MODULES if m.parts[0] == "workings"], ids=str)
def test_the_workings_stand_on_lower_storeys_alone(module: Path) -> None:
    room = module.parts[1].removesuffix(".py")
    own = rank(room, STOREYS)
    assert own is not None, f"{room} has no storey"
    for name in imported(PACKAGE / module):
        _, stage, *rest = name.split(".")
        if stage == "workings" and rest and rest[0] != room and not {rest[0], room} <= STOREYS[0]:
            below = rank(rest[0], STOREYS)
            assert below is not None, f"{module} imports {name}, which has no storey"
            assert below < own, f"{module} imports {name}, which stands on no lower storey"


def test_no_files_of_the_package_import_each_other_in_a_circle() -> None:
    known = {".".join(("meshlint", *m.with_suffix("").parts)): m for m in MODULES}
    graph = nx.DiGraph()
    for name, module in known.items():
        for other in imported(PACKAGE / module, at_run_time=True):
            target = other if other in known else other.rpartition(".")[0]
            if target in known:
                graph.add_edge(name, target)
    assert graph.number_of_edges() > len(known)
    assert [sorted(c) for c in nx.strongly_connected_components(graph) if len(c) > 1] == []


BEFORE = """import sys, click, msgspec
of_these = set(sys.modules)
def loaded(): return sys.modules.keys() - of_these
"""
"""What every run needs, and what these load themselves: msgspec 0.19 does `json`."""


@pytest.mark.parametrize("text", [SMALL, RADIO], ids=["a radio", "a radio link"])
def test_checking_a_small_site_loads_nothing_heavy(text: str, tmp_path: Path) -> None:
    site = tmp_path / "small.site.yaml"
    site.write_text(text)
    program = (
        f"{BEFORE}from meshlint.cli import cli\n"
        f"cli.main(['check', '--no-cache', {str(site)!r}], standalone_mode=False)\n"
        f"print([name for name in {HEAVY!r} if name in loaded()], file=sys.stderr)\n"
    )
    assert run_in(tmp_path, program) == "[]"


def test_a_result_that_was_kept_is_told_without_what_makes_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MESHLINT_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setenv("MESHLINT_CACHE_KEY", "a key for this test alone")
    site = tmp_path / "small.site.yaml"
    site.write_text(RADIO)
    maker = ("meshlint.run", "meshlint.site.model", "meshlint.workings.site_workings", "yaml")
    program = (
        f"{BEFORE}from meshlint.cli import cli\n"
        f"cli.main(['check', {str(site)!r}], standalone_mode=False)\n"
        f"print([name for name in {(*HEAVY, *maker)!r} if name in loaded()], file=sys.stderr)\n"
    )
    assert [run_in(tmp_path, program) for _ in range(2)] == [str(list(maker)), "[]"]


def run_in(folder: Path, program: str) -> str:
    """Run a program where no checkout is about, and return what it says on standard error."""
    call = [sys.executable, "-c", program]
    done = subprocess.run(call, capture_output=True, text=True, check=True, cwd=folder)
    return done.stderr.strip()


def test_no_file_of_the_package_outgrows_its_one_reason() -> None:
    long = {str(module) for module in MODULES if (PACKAGE / module).read_text().count("\n") > 500}
    assert long == set()
