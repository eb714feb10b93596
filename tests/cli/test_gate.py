"""The gate over a repository as its people meet it: policy, accepted list, formats, fleet."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.report.formats import FORMATS

if TYPE_CHECKING:
    from click.testing import Result

SITE = """\
meshlint: 1
site: {name: Brook Street, class: branch, country: GB}
primary: desk
units: {desk: {}, loft: {}, barn: {}}
backhaul: {}
"""
SOUND = SITE.replace("units: {desk: {}, loft: {}, barn: {}}", "units: {desk: {}}")
DAY = ("--today", "2026-11-25")


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / ".git").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    done = CliRunner().invoke(cli, words)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done


def write(name: str, text: str) -> str:
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    Path(name).write_text(text)
    return name


def plain(text: str) -> str:
    return " ".join(text.split())


# --- accept ---------------------------------------------------------------------------------------


def test_only_what_is_new_fails_once_the_rest_is_accepted() -> None:
    write("meshlint.yaml", "meshlint: 1\n")
    write("a.site.yaml", SITE)
    assert run("check", *DAY).exit_code == 1
    done = run("accept", "--because", "Until the refit", *DAY)
    assert done.exit_code == 0
    assert "2 accepted findings, 2 of them new; 0 no longer there" in plain(done.output)
    after = run("check", *DAY)
    assert after.exit_code == 0
    assert "accepted: 2 by the accepted list" in plain(after.output)
    write("a.site.yaml", SITE.replace("barn: {}", "barn: {}, shed: {}"))
    new = run("check", *DAY)
    assert new.exit_code == 1
    assert "shed" in new.output
    assert "loft" not in new.output


def test_accept_says_what_nobody_may_waive() -> None:
    write("meshlint.yaml", "meshlint: 1\n")
    radio = "{band: 5, channel: 36, width_mhz: 20, power_dbm: 30, antenna_gain_dbi: 10}"
    write("a.site.yaml", SITE.replace("desk: {}", f"desk: {{radios: {{mid: {radio}}}}}"))
    done = run("accept", *DAY)
    assert "Still open, since nobody may waive them: 1, of power-permitted (1)." in done.output
    assert run("check", *DAY).exit_code == 1


def test_accepting_again_keeps_days_and_reasons_and_drops_what_is_gone() -> None:
    write("meshlint.yaml", "meshlint: 1\n")
    write("a.site.yaml", SITE)
    run("accept", "--because", "First", *DAY)
    before = Path("meshlint-accepted.yaml").read_text()
    run("accept", "--because", "Second", "--today", "2027-01-01")
    assert Path("meshlint-accepted.yaml").read_text() == before
    write("a.site.yaml", SITE.replace("barn: {}", "shed: {}"))
    gone = run("check", *DAY)
    assert "No longer there: every-unit-joined for units/barn" in plain(gone.output)
    run("accept", "--because", "Second", "--today", "2027-01-01")
    after = Path("meshlint-accepted.yaml").read_text()
    assert "units/barn" not in after
    assert 'subject: "units/loft", severity: error, since: 2026-11-25, because: "First"' in after
    assert 'subject: "units/shed", severity: error, since: 2027-01-01, because: "Second"' in after


def test_sites_that_are_not_named_keep_their_entries() -> None:
    write("meshlint.yaml", "meshlint: 1\n")
    write("a.site.yaml", SITE)
    write("b.site.yaml", SITE.replace("Brook Street", "Mill Lane"))
    run("accept", *DAY)
    before = Path("meshlint-accepted.yaml").read_text()
    run("accept", "b.site.yaml", *DAY)
    assert Path("meshlint-accepted.yaml").read_text() == before


def test_a_list_needs_a_policy_to_stand_beside() -> None:
    write("a.site.yaml", SITE)
    done = run("accept", *DAY)
    assert done.exit_code == 2
    assert "`meshlint: 1` is enough" in plain(done.output)


def test_a_file_not_understood_is_told_and_the_others_are_accepted() -> None:
    write("meshlint.yaml", "meshlint: 1\n")
    write("a.site.yaml", SITE)
    write("b.site.yaml", "meshlint: [\n")
    done = run("accept", *DAY)
    assert done.exit_code == 2
    assert "b.site.yaml:" in done.output
    assert "units/loft" in Path("meshlint-accepted.yaml").read_text()


# --- formats --------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize(
    ("text", "options", "status"),
    [
        (SOUND, (), 0),
        (SITE, (), 1),
        (SITE, ("--fail-at", "note"), 1),
        ("meshlint: [\n", (), 2),
    ],
    ids=["sound", "faulty", "strict", "unread"],
)
def test_the_exit_status_never_depends_on_the_format(
    form: str, text: str, options: tuple[str, ...], status: int
) -> None:
    write("a.site.yaml", text)
    assert run("check", "--format", form, *options, *DAY).exit_code == status


def test_several_formats_are_written_in_one_run() -> None:
    write("a.site.yaml", SITE)
    done = run("check", "--format", "text", "--format", "sarif=out.sarif", "--format",
               "junit=out.xml", *DAY)  # fmt: skip
    assert done.exit_code == 1
    assert "every-unit-joined" in done.output
    assert json.loads(Path("out.sarif").read_text())["version"] == "2.1.0"
    assert Path("out.xml").read_text().startswith("<?xml")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--format", "text", "--format", "json"), "two reports would go to standard output"),
        (("--format", "json=a", "--format", "sarif=a"), "two reports would go to one file"),
        (("--format", "html"), "expected one of text, json, sarif, junit, markdown"),
        (("--format", "json="), "expected one of"),
        (("--format", "json=no/such/folder/a.json"), "cannot be written"),
    ],
)
def test_a_call_that_means_nothing_is_exit_2(options: tuple[str, ...], words: str) -> None:
    write("a.site.yaml", SOUND)
    done = run("check", *options, *DAY)
    assert done.exit_code == 2
    assert words in plain(done.output)


@pytest.mark.parametrize("form", FORMATS)
def test_a_file_not_understood_stands_beside_the_findings_of_the_others(form: str) -> None:
    write("a.site.yaml", SITE)
    write("b.site.yaml", "meshlint: 1\nprimry: x\n")
    done = run("check", "--format", form, *DAY)
    assert done.exit_code == 2
    assert "every" in done.output
    assert "primry" in done.output


def test_nothing_found_and_nothing_read_are_never_green() -> None:
    assert run("check", *DAY).exit_code == 2
    write("a.site.yaml", "meshlint: [\n")
    assert run("check", *DAY).exit_code == 2


# --- policy ---------------------------------------------------------------------------------------


def test_a_policy_decides_what_fails_and_the_call_has_the_last_word() -> None:
    write("a.site.yaml", SITE)
    write("meshlint.yaml", "meshlint: 1\nrules: {every-unit-joined: {severity: note}}\n")
    assert run("check", *DAY).exit_code == 0
    write(
        "meshlint.yaml",
        "meshlint: 1\nfail_at: note\nrules: {every-unit-joined: {severity: note}}\n",
    )
    assert run("check", *DAY).exit_code == 1
    assert run("check", "--fail-at", "warning", *DAY).exit_code == 0


def test_a_policy_is_shown_with_the_lines_that_say_so() -> None:
    write("a.site.yaml", SITE)
    write(
        "meshlint.yaml",
        "meshlint: 1\n"
        "fail_at: warning\n"
        "rules:\n"
        "  hop-depth: {limits: {error_hops: 4}}\n"
        "  overlap-enough: {switched_off: Nobody walks here}\n"
        "blocks:\n"
        "  - classes: [branch]\n"
        "    rules:\n"
        "      hop-depth: {severity: note}\n",
    )
    lines = [plain(line) for line in run("policy", "a.site.yaml").output.splitlines()]
    for line in (
        "a.site.yaml, class branch, is held to meshlint.yaml:",
        "fails at: warning meshlint.yaml:2:10",
        "hop-depth: note (its card: note) meshlint.yaml:9:19",
        "hop-depth: error_hops = 4 hops (its card: 3) meshlint.yaml:4:24",
        "overlap-enough: switched off: Nobody walks here meshlint.yaml:5:20",
    ):
        assert line in lines
    told = run("policy", "a.site.yaml").output.splitlines()[2:-2]
    assert {line.index("meshlint.yaml:") for line in told if "meshlint.yaml:" in line} == {
        2 + len("overlap-enough: switched off: Nobody walks here") + 2
    }
    assert "accepted list: known.yaml" not in "".join(told)
    write("meshlint.yaml", "meshlint: 1\naccepted: known.yaml\n")
    lines = [plain(line) for line in run("policy", "a.site.yaml").output.splitlines()]
    assert "accepted list: known.yaml meshlint.yaml:2:11" in lines
    write("other/.git/x", "")
    write("other/a.site.yaml", SITE)
    assert "every rule as shipped" in run("policy", "other/a.site.yaml").output


def test_own_rules_are_listed_and_explained() -> None:
    write("rules/unit-says-its-floor.yaml", CARD.replace("unit.quillbeck_floor", "unit.name"))
    write("meshlint.yaml", "meshlint: 1\ncards: [{folder: rules, name: qb}]\n")
    assert "qb/unit-says-its-floor" in run("rules").output
    assert "hop-depth" in run("rules").output
    assert "A unit's name says its floor" in run("explain", "qb/unit-says-its-floor").output
    write("meshlint.yaml", "meshlint: 1\ncards: [{folder: gone, name: qb}]\n")
    assert run("rules").exit_code == 2


# --- facts from an installed package --------------------------------------------------------------

PACKAGE = """
from meshlint.workings.fact import Kind, fact

@fact("unit.quillbeck_floor", Kind.TEXT, "the floor in its label", source="our labels")
def floor(_, unit):
    return unit.name.split("-")[0] if "-" in unit.name else ""

FACTS = (floor,)
"""
CARD = """\
id: unit-says-its-floor
status: stable
since: "0.1"
about: unit
severity: error
title: A unit's name says its floor
why: Whoever is sent there takes the wrong stairs.
rationale: Labels say the floor.
blind_spots: It reads names only.
expect: unit.quillbeck_floor != ''
says: nobody can tell the floor of {unit.name}.
remedy: put the floor before the name.
point_at: [self]
practice: our own labels
"""


def install(folder: Path, package: str = PACKAGE) -> dict[str, str]:
    """Lay a package out as an installer would, and return an environment that has it."""
    (folder / "quillbeck_facts").mkdir(parents=True)
    (folder / "quillbeck_facts" / "__init__.py").write_text(package)
    about = folder / "quillbeck_facts-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: quillbeck-facts\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text("[meshlint.facts]\nquillbeck = quillbeck_facts:FACTS\n")
    path = os.pathsep.join([str(folder), *filter(None, [os.environ.get("PYTHONPATH")])])
    return {**os.environ, "PYTHONPATH": path}


def process(environment: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "meshlint", *words],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def own_rules() -> None:
    write("rules/unit-says-its-floor.yaml", CARD)
    write("meshlint.yaml", "meshlint: 1\nfacts: [quillbeck]\ncards: [{folder: rules, name: qb}]\n")
    write("a.site.yaml", SOUND.replace("{desk: {}}", "{first-desk: {}, desk: {}}"))


def test_an_installed_package_adds_facts_for_own_cards(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    own_rules()
    done = process(install(tmp_path_factory.mktemp("installed")), "check", "--format", "json", *DAY)
    found = json.loads(done.stdout)["files"][0]["findings"]
    assert [f["subject"] for f in found if f["rule"] == "qb/unit-says-its-floor"] == ["units/desk"]


def test_facts_are_loaded_only_where_a_policy_names_them(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    write("a.site.yaml", SOUND)
    environment = install(tmp_path_factory.mktemp("installed"), "raise SystemExit(42)\n")
    assert process(environment, "check", *DAY).returncode == 0


def test_a_package_in_the_repository_is_never_run() -> None:
    """Not even with `python -m`, which would import from the current folder."""
    own_rules()
    trap = f"open({str(Path.cwd() / 'ran')!r}, 'w').close()\nFACTS = ()\n"
    install(Path.cwd(), trap)
    for name in ("yaml", "networkx", "pathspec", "numpy", "cel_expr_python", "jsonschema"):
        write(f"{name}.py", trap)
    done = process(dict(os.environ), "check", *DAY)
    assert done.returncode == 2
    assert "no installed package offers facts called 'quillbeck'" in plain(done.stdout)
    assert not Path("ran").exists()


@pytest.mark.parametrize(
    ("package", "words"),
    [
        (PACKAGE.replace("quillbeck_floor", "hops"), "a name that starts with 'quillbeck_'"),
        (PACKAGE.replace("unit.quill", "rack.quill"), "about no known subject"),
        ("FACTS = (1,)\n", "something that is no fact"),
        ("import nothing_of_that_name\n", "cannot be loaded: ModuleNotFoundError"),
    ],
)
def test_a_package_that_does_not_keep_to_the_form_is_refused(
    package: str, words: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    own_rules()
    done = process(install(tmp_path_factory.mktemp("installed"), package), "check", *DAY)
    assert done.returncode == 2
    assert words in plain(done.stdout)
    assert "meshlint.yaml:2:9" in done.stdout


# --- fleet ----------------------------------------------------------------------------------------


def fleet_report(*words: str) -> dict[str, list[tuple[str, str]]]:
    report = json.loads(run("fleet", "--format", "json", *words, *DAY).output)
    return {
        file["path"]: [(f["rule"], f["subject"]) for f in file["findings"]]
        for file in report["files"]
    }


def rules_found() -> set[str]:
    return {rule for found in fleet_report().values() for rule, _ in found}


def branch(name: str, unit: str, akm: str = "sae", model: str = "tri") -> str:
    return (
        f"meshlint: 1\nsite: {{name: {name}, class: branch, country: GB}}\n"
        f"catalogue: equipment.yaml\nprimary: {unit}\nunits: {{{unit}: {{model: {model}}}}}\n"
        f"networks: {{staff: {{name: Staff, akm: {akm}, vlan: 10}}}}\n"
    )


def some_branches() -> None:
    write("equipment.yaml", "meshlint: 1\nmodels: {tri: {}, duo: {}}\n")
    for n in range(5):
        write(f"b{n}.site.yaml", branch(f"Branch {n}", f"desk {n}"))


def test_a_unit_name_used_at_two_sites_is_found_at_both() -> None:
    some_branches()
    write("b1.site.yaml", branch("Branch 1", "desk 0"))
    found = fleet_report()
    rule = "unit-name-once-in-fleet"
    assert (rule, "units/desk 0") in found["b0.site.yaml"]
    assert (rule, "units/desk 0") in found["b1.site.yaml"]
    assert rule not in {name for name, _ in found["b2.site.yaml"]}


def test_a_unit_name_that_recurs_throughout_a_class_is_its_design_and_elsewhere_is_one_line() -> (
    None
):
    some_branches()
    for n in range(4):
        write(f"b{n}.site.yaml", branch(f"Branch {n}", "desk"))
    assert "unit-name-once-in-fleet" not in rules_found()
    write("depot.site.yaml", branch("Depot", "desk").replace("branch", "depot"))
    found = fleet_report()
    assert [
        path for path, rules in found.items() if ("unit-name-once-in-fleet", "units/desk") in rules
    ] == ["depot.site.yaml"]
    for n in range(4):
        text = branch(f"Branch {n}", "desk").replace("class: branch, ", "")
        write(f"b{n}.site.yaml", text)
    told = plain(run("fleet", *DAY).output)
    assert told.count("A search for desk finds units at several sites") == 1
    assert "4 more sites, b1.site.yaml:5:9, b2.site.yaml:5:9" in told


def test_paths_are_those_of_the_current_folder_without_a_step_up_and_down_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    write("kit.yaml", "meshlint: 1\nmodels: {tri: {radios: 7}}\n")
    write("north/a.site.yaml", branch("A", "desk").replace("equipment", "../kit"))
    told = run("check", ".", *DAY).output
    assert "kit.yaml:2:" in told
    assert "north/../" not in told
    write("kit.yaml", "meshlint: 1\nmodels: {tri: {}}\n")
    write("north/b.site.yaml", branch("A", "loft").replace("equipment", "../kit"))
    monkeypatch.chdir("north")
    told = run("fleet", *DAY).output
    assert "A, a.site.yaml\n" in told
    assert "../north" not in told


def test_siblings_show_what_differs_first() -> None:
    some_branches()
    write("b3.site.yaml", branch("Branch 3", "desk 3", akm="psk"))
    lines = [plain(line) for line in run("siblings").output.splitlines()]
    assert lines[1:3] == ["4 of 5 networks.staff.akm = sae", "b3.site.yaml has psk"]


def test_siblings_name_the_sites_that_leave_a_value_out() -> None:
    some_branches()
    text = branch("Branch 3", "desk 3")
    write("b3.site.yaml", text.replace("akm: sae, ", ""))
    lines = [plain(line) for line in run("siblings").output.splitlines()]
    assert lines[1:3] == ["4 of 4 networks.staff.akm = sae", "b3.site.yaml leaves it out"]


def test_a_site_name_borne_twice_is_found_at_both() -> None:
    some_branches()
    write("b1.site.yaml", branch("Branch 0", "desk 1"))
    found = fleet_report()
    assert ("site-name-once-in-fleet", "site") in found["b0.site.yaml"]
    assert ("site-name-once-in-fleet", "site") in found["b1.site.yaml"]
    assert "site-name-once-in-fleet" not in {name for name, _ in found["b2.site.yaml"]}


def test_a_model_that_nobody_uses_is_found_in_the_catalogue() -> None:
    some_branches()
    assert fleet_report()["equipment.yaml"] == [("catalogue-model-in-use", "models/duo")]
    write("b1.site.yaml", branch("Branch 1", "desk 1", model="duo"))
    assert fleet_report()["equipment.yaml"] == []


def test_a_site_unlike_its_siblings_is_found_with_what_they_have() -> None:
    some_branches()
    write("b3.site.yaml", branch("Branch 3", "desk 3", akm="psk"))
    found = fleet_report()
    assert ("like-its-siblings", "networks.staff.akm") in found["b3.site.yaml"]
    assert "like-its-siblings" not in {name for name, _ in found["b2.site.yaml"]}
    text = plain(run("fleet", *DAY).output)
    assert "networks.staff.akm is psk. At 4 of 5 others of class" in text
    assert run("fleet", *DAY).exit_code == 0
    assert run("fleet", "--fail-at", "warning", *DAY).exit_code == 1


def test_three_siblings_make_no_majority() -> None:
    some_branches()
    Path("b0.site.yaml").unlink()
    Path("b1.site.yaml").unlink()
    write("b3.site.yaml", branch("Branch 3", "desk 3", akm="psk"))
    assert "like-its-siblings" not in {
        rule for found in fleet_report().values() for rule, _ in found
    }


def test_what_may_vary_by_policy_varies() -> None:
    some_branches()
    write("b3.site.yaml", branch("Branch 3", "desk 3", akm="psk"))
    write("meshlint.yaml", "meshlint: 1\nsiblings: {branch: {may_vary: [networks.*.akm]}}\n")
    assert "like-its-siblings" not in {
        rule for found in fleet_report().values() for rule, _ in found
    }


def test_siblings_are_shown_with_what_they_share_and_who_differs() -> None:
    some_branches()
    write("b3.site.yaml", branch("Branch 3", "desk 3", akm="psk"))
    lines = [plain(line) for line in run("siblings").output.splitlines()]
    assert lines[0] == "branch: 5 sites"
    at = lines.index("4 of 5 networks.staff.akm = sae")
    assert lines[at + 1] == "b3.site.yaml has psk"
    assert "5 of 5 site.country = GB" in lines
    assert run("siblings", "--class", "depot").exit_code == 2


def test_which_way_an_antenna_faces_and_where_somebody_scanned_is_a_sites_own() -> None:
    some_branches()
    for number in range(5):
        odd = number == 4
        says = (
            f"{{scan_made: {'false' if odd else 'true'}, radios: {{aimed: {{beam_width_deg: 60, "
            f"beam_bearing_deg: {200 if odd else 90}, beam_tilt_deg: {-9 if odd else 0}}}}}, "
        )
        text = branch(f"Branch {number}", f"desk {number}").replace("{model", f"{says}model")
        write(f"b{number}.site.yaml", text)
    shown = run("siblings").output
    assert "units.*.radios.aimed.beam_width_deg" in shown
    for key in ("beam_bearing_deg", "beam_tilt_deg", "scan_made"):
        assert key not in shown


def test_a_secret_is_never_compared_nor_shown() -> None:
    some_branches()
    text = branch("Branch 3", "desk 3").replace("akm: sae", "akm: sae, secret: hunter22hunter22")
    write("b3.site.yaml", text)
    assert "hunter22" not in run("siblings").output + run("fleet", *DAY).output


def test_a_check_of_some_files_never_asks_what_spans_sites() -> None:
    """A hook is given what changed, over several processes; it cannot know the rest."""
    some_branches()
    write("b1.site.yaml", branch("Branch 0", "desk 0"))
    report = json.loads(run("check", "b0.site.yaml", "--format", "json", *DAY).output)
    rules = {f["rule"] for f in report["files"][0]["findings"]}
    assert not rules & {"unit-name-once-in-fleet", "site-name-once-in-fleet", "like-its-siblings"}


def test_a_waiver_of_a_fleet_rule_counts_in_the_fleet_and_is_not_blamed_elsewhere() -> None:
    some_branches()
    waiver = (
        "waivers: [{rule: unit-name-once-in-fleet, subject: units/desk 0, because: One person,"
        " approved_by: estates, until: 2030-01-01}]\n"
    )
    write("b1.site.yaml", branch("Branch 1", "desk 0") + waiver)
    report = json.loads(run("fleet", "--format", "json", *DAY).output)
    (file,) = (f for f in report["files"] if f["path"] == "b1.site.yaml")
    (found,) = (f for f in file["findings"] if f["rule"] == "unit-name-once-in-fleet")
    assert found["waiver"]["approved_by"] == "estates"
    assert "waiver-current" not in run("check", "b1.site.yaml", *DAY).output.split("Nothing")[0]
