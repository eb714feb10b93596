"""The pages for authors and contributors name what is there, all of it where they list it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from meshlint.workings.catalogue import FACTS, ROOMS

CHECKOUT = Path(__file__).parents[1]
PAGES = ("README.md", "DEVELOPERS.md", "rules/README.md", "rules/FACTS.md", "rules/CONVENTIONS.md",
         "schemas/README.md", "tests/benchmarks/README.md")  # fmt: skip
GUIDE = (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
MEASURED = (CHECKOUT / "tests/benchmarks/README.md").read_text(encoding="utf-8")


def section(page: str, title: str) -> str:
    return page.split(f"## {title}\n", 1)[1].split("\n## ", 1)[0]


def first_cells(table: str) -> list[str]:
    rows = [line for line in table.splitlines() if line.startswith("|")]
    return [row.split("|")[1].strip() for row in rows if not row.startswith("|---")]


def anchors(page: str) -> set[str]:
    """Return the marks of a page's headings, as GitHub and GitLab make them."""
    headings = re.findall(r"^#+ (.+)$", page, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("name", PAGES)
def test_every_link_within_the_project_leads_somewhere(name: str) -> None:
    page = CHECKOUT / name
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if not target.startswith("https://"):
            path, _, mark = target.partition("#")
            there = page.parent / path if path else page
            assert there.is_file(), target
            assert not mark or mark in anchors(there.read_text(encoding="utf-8")), target


def test_the_map_names_every_folder_of_the_package_and_none_that_is_not_there() -> None:
    named = set(re.findall(r"`([\w/]+)/`", "\n".join(first_cells(section(GUIDE, "The map")))))
    package = CHECKOUT / "meshlint"
    folders = {p.parent.name for p in package.glob("*/__init__.py")} - {"workings"}
    rooms = {f"workings/{room}" for room in ROOMS}
    assert named == folders | rooms | {"rules", "schemas", "samples", "tests"}


def test_files_and_facts_that_the_guide_names_are_there() -> None:
    """A path is looked for in the checkout and in the package, as the guide shortens them."""
    named = set(re.findall(r"`([\w/.-]+\.(?:py|json|csv|md|yaml))`", GUIDE + MEASURED))
    of_users = {"meshlint-accepted.yaml"}
    package = CHECKOUT / "meshlint"
    homes = [CHECKOUT, package, *package.rglob("*"), CHECKOUT / "tests"]
    homes += [CHECKOUT / "tests/benchmarks", CHECKOUT / "tests/fuzz"]
    lost = [n for n in named - of_users if not any((home / n).is_file() for home in homes)]
    assert lost == []
    facts = re.findall(r"\b(?:link|unit|group|site)\.[a-z]\w+", GUIDE)
    assert set(facts) - set(FACTS) - {"unit.quillbeck_floor"} == set()


def test_the_guide_can_be_read_in_one_sitting() -> None:
    """What is generated, measured or looked up stands in pages of its own."""
    assert len(GUIDE) < 20_000
    assert "<!-- begin:" not in GUIDE


def test_each_dependency_is_justified() -> None:
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    told = section(GUIDE, "Dependencies")
    at_run_time = told.partition("| for tests and development |")[0]
    names = {re.match(r"[\w-]+", entry)[0] for entry in project["dependencies"]}
    assert set(first_cells(at_run_time)) - {"package"} == names
    extras = project["optional-dependencies"]
    for entry in (*extras["test"], *extras["dev"], *extras["fuzz"]):
        name = re.match(r"[\w-]+", entry)[0]
        assert name in told or name.startswith("types-"), name


def test_every_benchmark_is_told_of() -> None:
    there = {path.name for path in (CHECKOUT / "tests/benchmarks").glob("*.py")}
    told = {cell.strip("`").split()[0] for cell in first_cells(MEASURED) if ".py" in cell}
    assert told == there
