"""`meshlint what-if` as people call it: the answer first, clear errors, nothing written."""

from __future__ import annotations

import json
import subprocess
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli
from meshlint.report.figures import counted, figure, in_words
from meshlint.run import Checker
from meshlint.what_if.asking import Question, answer
from meshlint.what_if.room import MOST_MORE

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
EMBERDALE = "samples/branches/emberdale.site.yaml"
STANGMOOR = "samples/branches/stangmoor.site.yaml"


@pytest.fixture(autouse=True)
def _in_the_checkout(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["what-if", *words, "--today", "2026-11-25"])


def told(*words: str) -> dict[str, Any]:
    return json.loads(run(*words, "--format", "json").stdout)  # type: ignore[no-any-return]


def test_the_first_line_is_the_answer() -> None:
    result = run(STANGMOOR, "--join", "study=fiction")
    assert result.stdout.startswith("If you join study to fiction by radio high, study can get 162")
    assert result.exit_code == 0
    assert len(result.stdout.splitlines()) <= 12


def test_what_is_not_lawful_is_told_before_all_else() -> None:
    result = run(EMBERDALE, "--power", "stacks/mid=30")
    assert result.stdout.startswith("Not lawful: the radio at stacks sends")
    assert result.exit_code == 1
    data = told(EMBERDALE, "--power", "stacks/mid=30")
    assert (data["lawful"], data["possible"]) == (False, False)  # the model cannot do it either


def test_an_offence_of_today_is_none_of_a_change_elsewhere_and_one_of_its_own_radio(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text(
        "meshlint: 1\nsite: {name: A, country: GB}\nprimary: a\nunits:\n"
        "  a: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, radiated_dbm: 40}}}\n"
        "  b: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, radiated_dbm: 20}}}\n"
        "backhaul: {b to a: {from: b, to: a, over: cable}}\n"
    )
    assert told(str(path), "--power", "b/mid=21")["lawful"]
    assert not told(str(path), "--power", "a/mid=39")["lawful"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--without", "galery"), "there is no unit or link 'galery'; did you mean 'gallery'?"),
        (("--channel", "gallery/mod=36"), "did you mean 'gallery/mid'?"),
        (("--channel", "gallery/mid=high"), "'high' is no channel; write RADIO=NUMBER"),
        (("--width", "gallery/mid"), "is no width in MHz"),
        (("--more", "3", "visitor"), "did you mean 'visitors'?"),
        (("--lay", "desk to gallery"), "there is no cable route 'desk to gallery'"),
        (("--lay", "desk to rack switch"), "runs over a cable between them already"),
        (("--primary", "desk"), "desk is the primary already"),
        (("--join", "gallery=attic"), "there is no unit 'attic'"),
        (("--channel", "gallery/high=5", "--channel", "desk/high=9"), "both must have one channel"),
        (("--join", "gallery", "--without", "desk"), "asked for alone"),
        ((), "what if what?"),
        (("--without", "desk", "--diff"), "--diff prints a change"),
        (("--join", "gallery", "--diff"), "name one for a patch"),
    ],
)  # fmt: skip
def test_a_question_that_makes_no_sense_is_refused_in_one_line(
    words: tuple[str, ...], said: str
) -> None:
    result = run(EMBERDALE, *words)
    assert result.exit_code == 2, result.output
    assert said in result.output
    assert len(result.output.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--join", "fiction=study"), "Not possible: study reaches the primary through fiction"),
        (("--join", "porch=study"), "Not possible: porch is the primary"),
        (("--join", "study=study"), "Not possible: study cannot be joined to itself"),
        (("--join", "study=archive"), "Not possible: study and archive have no radios of one band"),
        (("--power", "study/mid=90"), "Not possible: the file would not be sound"),
    ],
)
def test_what_cannot_be_is_told_first(words: tuple[str, ...], said: str) -> None:
    result = run(STANGMOOR, *words)
    assert result.exit_code == 1
    assert result.stdout.startswith(said)


@pytest.mark.parametrize("spelling", ["gallery/high", "units/gallery/radios/high",
                                      "gallery, radio high", "radio high of gallery"])  # fmt: skip
def test_radios_are_named_as_reports_name_them(spelling: str) -> None:
    data = told(EMBERDALE, "--channel", f"{spelling}=5")
    (change,) = data["changes"]
    assert change["words"] == "set radio high of desk and gallery to channel 5"
    assert [edit["where"][1] for edit in change["edits"]] == ["desk", "gallery"]


def test_what_moves_along_is_said() -> None:
    data = told(EMBERDALE, "--join", "gallery=stacks")
    (change,) = data["changes"]
    assert change["words"] == (
        "join gallery to stacks by radio mid, with radio mid of gallery moved to its channel 44"
    )
    chain = told(STANGMOOR, "--channel", "study/high=37")["changes"][0]["words"]
    assert chain == "set radio high of porch, fiction, archive and study to channel 37"


def test_as_many_fit_as_the_check_allows() -> None:
    """The boundary is held against the ordinary check of files written with one and one more."""
    question = Question(more=((3, "visitors"),))
    data = Path(EMBERDALE).read_bytes()
    (room,) = answer(Checker(TODAY), data, EMBERDALE, question).rooms
    assert room.more is not None
    assert room.then is not None
    stated = b"visitors: {count: 10"
    assert stated in data

    def found(more: int) -> set[tuple[str, str]]:
        text = data.replace(stated, b"visitors: {count: %d" % (10 + more))
        result = Checker(TODAY, apart=True).check(text, EMBERDALE)
        return {(f.rule, f.subject) for f in result.findings}

    assert found(room.more) == found(0)
    assert (room.then.rule, room.then.subject) in found(room.more + 1) - found(0)


def test_a_group_that_breaks_a_rule_already_has_no_room() -> None:
    text = Path(STANGMOOR).read_text().replace("students: {count: 16", "students: {count: 400")
    found = answer(Checker(TODAY), text.encode(), STANGMOOR, Question(more=((5, "students"),)))
    (room,) = found.rooms
    assert "airtime-room" in {finding.rule for finding in room.broken}
    assert MOST_MORE >= 4000


def test_what_an_anchor_shares_can_be_asked_though_not_written(tmp_path: Path) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text(
        "meshlint: 1\nsite: {name: A, country: GB}\nprimary: a\nunits:\n"
        "  a: {radios: {mid: &r {band: 5, channel: 36, width_mhz: 40, carries: [backhaul]}}}\n"
        "  b: {radios: {mid: *r}}\nbackhaul: {b to a: {from: b, to: a, over: radio}}\n"
    )
    data = told(str(path), "--channel", "b/mid=44")
    assert data["possible"]
    assert "shared by an anchor" in data["cannot_be_written"]
    result = run(str(path), "--channel", "b/mid=44", "--diff")
    assert result.exit_code == 2
    assert "no patch can be made" in result.output
    assert "+++" not in result.output


PIECE = """\
units:
  attic:
    model: tri-12
    at: {level: ground, x_m: 40, y_m: 9, height_m: 3.0}
    radios: {high: {channel: 37, width_mhz: 80, power_dbm: 18, carries: [backhaul]}}
"""


def test_a_piece_is_added_and_joined_as_one_change(tmp_path: Path) -> None:
    piece = tmp_path / "attic.yaml"
    piece.write_text(PIECE)
    data = told(EMBERDALE, "--with", str(piece), "--join", "attic=desk")
    assert [change["work"] for change in data["changes"]] == ["new unit", "setting"]
    assert data["ways"]["attic"]["after"]["parent"] == "desk"
    piece.write_text(PIECE.partition("\n")[2].replace("\n  ", "\n")[2:])  # the unit alone
    assert told(EMBERDALE, "--with", str(piece), "--join", "attic=desk") == data


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{attic: {radios: {mid: {chanel: 36}}}}", "1:25: units/attic/radios/mid: there is no key"),
        ("units:\n  desk: {}\n", "2:3: units has 'desk' already"),
        ("units: [attic]\n", "1:8: expected a map of units to add"),
        ("units: {attic: {}}\nsite: {name: B}\n", "2:1: 'site' cannot be added"),
        ("units: {attic: {model: tri-13}}\n", "1:24: there is no model"),
        ("", "1:1: "),
        ("{attic: {}", "1:"),
    ],
)
def test_a_bad_piece_is_refused_at_its_own_place(tmp_path: Path, text: str, said: str) -> None:
    piece = tmp_path / "piece.yaml"
    piece.write_text(text)
    result = run(EMBERDALE, "--with", str(piece))
    assert result.exit_code == 2
    assert f"{piece}:{said}" in result.output


def test_nothing_is_told_where_the_file_names_no_links(tmp_path: Path) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text("meshlint: 1\nsite: {name: A}\nprimary: a\nunits: {a: {}, b: {}}\n")
    result = run(str(path), "--without", "b")
    assert result.stdout == (
        "This cannot be told: the file does not state backhaul, the links between the units.\n"
    )
    assert result.exit_code == 1


def test_nothing_is_written_and_a_patch_that_is_a_bad_idea_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    equipment = Path("samples/equipment.yaml").read_bytes()
    before = Path(EMBERDALE).read_bytes()
    monkeypatch.chdir(tmp_path)
    (tmp_path / "b").mkdir()
    (tmp_path / "equipment.yaml").write_bytes(equipment)
    path = tmp_path / "b/a.site.yaml"
    path.write_bytes(before)
    result = run("b/a.site.yaml", "--power", "stacks/mid=30", "--diff")
    assert path.read_bytes() == before
    assert "meshlint: Not lawful" in result.output
    subprocess.run(["git", "apply"], input=result.stdout.encode(), check=True)
    changed = path.read_bytes()
    assert changed != before
    assert changed.count(b"power_dbm: 30") == 1


def test_waivers_and_readings_of_the_old_state_go_with_the_change() -> None:
    data = told(EMBERDALE, "--power", "gallery/mid=15")
    assert data["readings_to_take_again"] == ["the level of gallery on 5 GHz"]


def test_json_has_every_group_and_every_parent() -> None:
    data = told(STANGMOOR, "--join", "study")
    assert [entry["parent"] for entry in data["parents"]["found"]] == ["fiction", "porch"]
    assert data["parents"]["today"]["parent"] == "archive"
    lost = told(STANGMOOR, "--without", "fiction")["failure"]
    assert [entry["group"] for entry in lost["rates"]] == ["browsers", "researchers", "students"]
    assert lost["recovers"] == [{"unit": "archive", "parent": "porch", "over": "radio high"}]


def test_a_radio_of_which_the_model_alone_tells_can_be_set(tmp_path: Path) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text(
        "meshlint: 1\nsite: {name: A, country: GB}\nprimary: a\n"
        "models: {one: {radios: {mid: {band: 5}}}}\nunits:\n  a: {model: one}\n"
    )
    data = told(str(path), "--channel", "a/mid=44", "--width", "a/mid=40")
    edits = [edit for change in data["changes"] for edit in change["edits"]]
    assert edits[-1] == {
        "do": "set", "where": ["units", "a", "radios", "mid", "channel"], "value": 44,
    }  # fmt: skip
    assert (data["possible"], data["lawful"]) == (True, True)


def test_a_new_unit_is_written_as_a_person_would_write_it(tmp_path: Path) -> None:
    piece = tmp_path / "attic.yaml"
    piece.write_text(PIECE.replace("high: {", "high: {antenna_gain_dbi: 3, tunes: [37, 53], "))
    patch = run(EMBERDALE, "--with", str(piece), "--diff").stdout
    assert "+  attic:\n+    model: tri-12\n+    at: {level: ground," in patch
    assert max(len(line) for line in patch.splitlines() if line.startswith("+")) <= 101


def test_numbers_are_no_finer_than_the_model() -> None:
    assert [figure(x) for x in (0, 0.4321, 4.321, 95.4, 264.49, 1773.2, 0.004)] == [
        "0", "0.43", "4.3", "95", "264", "1770", "0.004",
    ]  # fmt: skip
    assert [counted(1, "device"), counted(2, "device")] == ["1 device", "2 devices"]
    assert in_words(["a", "b", "c"]) == "a, b and c"
    assert in_words(["a", "b", "c"], 2) == "a, b and 1 more"
