"""`meshlint new` as its user meets it: on a real terminal, and where there is none."""

from __future__ import annotations

import json
import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from meshlint.cli import cli
from meshlint.site.load import Catalogues, load_site

INTERRUPT = "\x03"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


class Talk:
    """The program on a terminal of its own, and a person who types."""

    def __init__(self, folder: Path, *words: str) -> None:
        self._theirs, ours = os.openpty()
        environment = {**os.environ, "TERM": "dumb", "LC_ALL": "en_GB.UTF-8", "COLUMNS": "100"}
        # A session of its own makes the terminal the one that Ctrl-C comes from.
        log_in = "import os, sys; os.login_tty(0); os.execv(sys.executable, sys.argv[1:])"
        self._child = subprocess.Popen(
            [sys.executable, "-c", log_in, sys.executable, "-m", "meshlint", *words],
            cwd=folder, env=environment, stdin=ours, stdout=ours, stderr=ours,
        )  # fmt: skip
        os.close(ours)
        self.shown = ""

    def answer(self, *lines: str) -> None:
        """Type each line once something is asked."""
        for line in lines:
            self._read(until="] ")
            if line == INTERRUPT:
                time.sleep(0.1)  # Python's own `input` hears no signal just before it reads
            os.write(self._theirs, line.encode() + (b"" if line == INTERRUPT else b"\n"))

    def end(self) -> int:
        """Return the exit status."""
        self._read(until="\0")
        status = self._child.wait(30)
        os.close(self._theirs)
        return status

    def _read(self, until: str) -> None:
        last, piece = time.monotonic() + 30, ""
        while not piece.endswith(until) and time.monotonic() < last:
            if not select.select([self._theirs], [], [], 0.2)[0]:
                continue
            try:
                found = os.read(self._theirs, 65536).decode()
            except OSError:  # how Linux says that the other end is closed
                break
            piece += found
        self.shown += piece.replace("\r\n", "\n")


def checked(path: Path) -> dict[str, object]:
    done = run("check", str(path), "--format", "json")
    assert done.exit_code in (0, 1), done.output
    found: dict[str, object] = json.loads(done.output)
    return found


def test_eight_questions_make_a_site_on_a_terminal(here: Path) -> None:
    talk = Talk(here, "new", "mill.site.yaml")
    talk.answer(
        "house, GB",
        "2, 12 x 8 m, 2.7 m high",
        "3 x 2 rooms, stud wall inside, brick outside, timber floor between storeys",
        "hall in 2; loft in 8: three bands, 802.11ax; all: two bands",
        "hall, 500/70",
        "loft to hall by radio at 5 GHz; loft to hall possible",
        "6 phones near hall; 2 laptops in 12",
        "hall: 1 at -60",
    )
    assert talk.end() == 0, talk.shown
    assert re.findall(r"^(\d) of 8\. ", talk.shown, re.MULTILINE) == list("12345678")
    site = load_site((here / "mill.site.yaml").read_bytes(), "x", Catalogues())[0]
    assert (site.about.country, site.about.surroundings, site.primary) == ("GB", "home", "hall")
    assert len(site.areas or {}) == 12
    assert len(site.units["loft"].radios) == 3
    assert [link.from_radio for link in (site.backhaul or {}).values()] == ["mid"]
    assert [route.state for route in site.cable_routes or ()] == ["possible"]
    assert (site.clients or {})["laptops"].area == "room 12"
    assert site.units["loft"].scan_made is False
    checked(here / "mill.site.yaml")


def test_enter_takes_what_stands_in_brackets(here: Path) -> None:
    talk = Talk(here, "new", "mill.site.yaml")
    talk.answer(*[""] * 8)
    assert talk.end() == 0, talk.shown
    assert "[house, GB]" in talk.shown
    text = (here / "mill.site.yaml").read_text()
    assert "country: GB" in text
    told = run("check", "mill.site.yaml").output
    assert len(re.findall("Cannot tell whether", told)) == 3
    assert "neighbours" not in text


def test_a_person_goes_back_corrects_and_is_told_what_is_not_understood(here: Path) -> None:
    talk = Talk(here, "new", "mill.site.yaml")
    talk.answer("hose", "flat, GB", "-", "<", "10 x 8 m", "<", "<", "house, FR", "", "open plan")
    talk.answer("hall; loft", "<", "<", "<", "", "", "hall; attic: two bands")
    talk.answer("loft", "attic", "radio", "-", "-")
    assert talk.end() == 0, talk.shown
    assert "'hose' is no kind of place that is known here; did you mean house?" in talk.shown
    assert "there is no 'loft'" in talk.shown
    assert "[10 x 8 m]" in talk.shown
    assert "[hall; loft]" in talk.shown
    site = load_site((here / "mill.site.yaml").read_bytes(), "x", Catalogues())[0]
    assert (site.about.country, list(site.units), site.primary) == (
        "FR",
        ["hall", "attic"],
        "attic",
    )
    assert [level.outline_m for level in (site.levels or {}).values()] == [
        ((0, 0), (10, 0), (10, 8), (0, 8))
    ]


@pytest.mark.parametrize("after", [0, 3])
def test_an_interrupt_writes_nothing(here: Path, after: int) -> None:
    talk = Talk(here, "new", "mill.site.yaml")
    talk.answer(*[""] * after, INTERRUPT)
    assert talk.end() == 130
    assert list(here.iterdir()) == []


def test_the_end_of_input_writes_nothing(here: Path) -> None:
    talk = Talk(here, "new", "mill.site.yaml")
    talk.answer("", "\x04")
    assert talk.end() == 130
    assert list(here.iterdir()) == []


def test_what_an_option_answers_is_not_asked(here: Path) -> None:
    talk = Talk(here, "new", "mill.site.yaml", "--country", "GB", "--storeys", "-",
                "--units", "2: two bands", "--clients", "-", "--neighbours", "none")  # fmt: skip
    talk.answer("", "")
    assert talk.end() == 0, talk.shown
    assert re.findall(r"^(\d) of 8\. ", talk.shown, re.MULTILINE) == ["5", "6"]


SAID = {
    "--kind": "house",
    "--country": "GB",
    "--storeys": "2, 12 x 8 m, 2.7 m high",
    "--rooms": "3 x 2 rooms, stud wall inside, brick outside",
    "--units": "hall in 2; loft in 8: two bands",
    "--internet": "hall, 500/70",
    "--backhaul": "loft to hall by cable, cat 6, 22 m",
    "--clients": "6 phones near hall",
    "--neighbours": "none",
}


def test_every_question_has_an_option_and_nothing_is_asked_without_a_terminal(here: Path) -> None:
    done = run("new", "mill.site.yaml", *(word for pair in SAID.items() for word in pair))
    assert done.exit_code == 0, done.output
    assert " of 8. " not in done.output
    site = load_site((here / "mill.site.yaml").read_bytes(), "x", Catalogues())[0]
    assert site.neighbours == ()
    (link,) = (site.backhaul or {}).values()
    assert (link.over, link.category, link.length_m) == ("cable", "6", 22)


@pytest.mark.parametrize("left_out", ["--kind", "--rooms", "--internet", "--clients"])
def test_what_is_not_said_does_not_stand_in_the_file(here: Path, left_out: str) -> None:
    said = {key: text for key, text in SAID.items() if key != left_out}
    assert run("new", "mill.site.yaml", *(w for p in said.items() for w in p)).exit_code == 0 or (
        left_out == "--rooms"
    )
    if left_out == "--rooms":
        assert list(here.iterdir()) == []  # `hall in 2` means nothing without rooms
        return
    text = (here / "mill.site.yaml").read_text()
    word = {"--kind": "surroundings", "--internet": "internet_lines", "--clients": "clients"}
    assert f"{word[left_out]}:" not in text
    assert "cable_routes" not in text
    assert "power" not in text
    checked(here / "mill.site.yaml")


def test_a_site_of_units_alone_says_no_more(here: Path) -> None:
    assert run("new", "mill.site.yaml", "--units", "2").exit_code == 0
    lines = (here / "mill.site.yaml").read_text().splitlines()
    said = [line.split(" #")[0].rstrip() for line in lines]
    assert said == [
        "# yaml-language-server: $schema=site.schema.json",
        "# Mill: check it with `meshlint check mill.site.yaml`.",
        "# What nobody knows yet is left out; the check then says what it would settle.",
        "meshlint: 1",
        "site:",
        '  name: "Mill"',
        "primary: unit-1",
        "units:",
        "  unit-1: {}",
        "  unit-2: {}",
    ]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "--units: this has to be said, as in '--units 2'"),
        (("--units", "2", "--rooms", "open plan"), "--rooms: rooms are on storeys"),
        (("--units", "2", "--internet", "loft"), "--internet: there is no 'loft'"),
        (("--units", "2", "--country", "UK"), "did you mean GB?"),
        (("--units", "1", "--backhaul", "unit-1 to x by radio"), "there is nothing to join"),
    ],
)
def test_an_option_that_is_not_understood_writes_nothing(
    here: Path, words: tuple[str, ...], told: str
) -> None:
    done = run("new", "mill.site.yaml", *words)
    assert done.exit_code == 2
    assert told in done.output
    assert list(here.iterdir()) == []


def test_a_file_is_written_over_when_told_so_and_not_before(here: Path) -> None:
    path = here / "mill.site.yaml"
    path.write_text("mine")
    talk = Talk(here, "new", "mill.site.yaml")
    assert talk.end() == 2
    assert "is there already; nothing was written" in talk.shown
    assert " of 8. " not in talk.shown
    assert path.read_text() == "mine"
    assert run("new", "mill.site.yaml", "--units", "2", "--overwrite").exit_code == 0
    assert "unit-2" in path.read_text()


def test_a_folder_that_is_not_there_is_told_before_anything_is_asked(here: Path) -> None:
    talk = Talk(here, "new", "sites/mill.site.yaml")
    assert talk.end() == 2
    assert "there is no folder sites" in talk.shown
    assert " of 8. " not in talk.shown


def test_numbers_stand_as_people_write_them(here: Path) -> None:
    said = ("--storeys", "17 x 9.5 m", "--units", "hall at 2, 4.5")
    assert run("new", "mill.site.yaml", *said).exit_code == 0
    text = (here / "mill.site.yaml").read_text()
    assert "  ground: {outline_m: [[0, 0], [17, 0], [17, 9.5], [0, 9.5]]}\n" in text
    assert "  hall: {at: {level: ground, x_m: 2, y_m: 4.5}}\n" in text


def test_odd_names_are_quoted_as_yaml_needs(here: Path) -> None:
    said = "no; 5; null; 1.5; it's: two bands; a # b; caf\u00e9, [x]"
    assert run("new", "mill.site.yaml", "--units", said.replace("; 5", "")).exit_code == 0
    site = load_site((here / "mill.site.yaml").read_bytes(), "x", Catalogues())[0]
    assert list(site.units) == ["no", "null", "1.5", "it's", "a # b", "caf\u00e9, [x]"]


@pytest.mark.parametrize("backhaul", ["cable", "radio"])
@pytest.mark.parametrize("units", ["1", "2", "4"])
def test_a_new_file_checks_clean_and_is_never_overwritten(
    here: Path, units: str, backhaul: str
) -> None:
    words = ("new", "shop.site.yaml", "--country", "gb", "--units", units, "--backhaul", backhaul)
    assert run(*words).exit_code == 0
    text = (here / "shop.site.yaml").read_text()
    done = run("check", "shop.site.yaml", "--fail-at", "note")
    assert done.exit_code == 0, done.output
    again = run(*words)
    assert again.exit_code == 2
    assert "nothing was written" in again.output
    assert (here / "shop.site.yaml").read_text() == text


def test_a_new_file_names_a_schema_that_lies_next_to_it(here: Path) -> None:
    (here / "north").mkdir()
    first = run("new", "north/shop.site.yaml", "--units", "1")
    assert "Wrote north/site.schema.json, by which an editor" in first.output
    (line, *_) = (here / "north/shop.site.yaml").read_text().splitlines()
    assert line == "# yaml-language-server: $schema=site.schema.json"
    schema = here / "north" / "site.schema.json"
    assert schema.read_text() == run("schema", "site").output
    schema.write_text("mine")
    second = run("new", "north/mill.site.yaml", "--units", "1")
    assert "site.schema.json" not in second.output
    assert schema.read_text() == "mine"


def test_a_site_name_of_any_characters_survives_the_starter(here: Path) -> None:  # noqa: ARG001
    name = 'Bob\'s "Shop": no #1 \\ {x}'
    assert run("new", "x.site.yaml", "--units", "1", "--name", name).exit_code == 0
    report = json.loads(run("check", "x.site.yaml", "--format", "json").output)
    assert report["files"][0]["site"] == name


def test_a_new_file_that_folder_checks_pass_over_is_said_to_be_one(here: Path) -> None:
    assert "passed over" not in run("new", "shop.site.yaml", "--units", "1").output
    told = " ".join(run("new", "shop.yaml", "--units", "1").output.split())
    assert "passed over" in told
    assert (here / "shop.yaml").exists()


@pytest.mark.parametrize(
    "name", ["a\x1b]0;x\x07\x9bb", "\u202eright", "two\nlines: x", "\ufffe", "\x7f#"]
)
def test_a_starter_holds_no_character_that_steers_a_terminal(here: Path, name: str) -> None:
    done = run("new", "x.site.yaml", "--units", "1", "--name", name)
    assert done.exit_code == 0, done.output
    text = (here / "x.site.yaml").read_text()
    assert all(c.isprintable() or c == "\n" for c in text)
    assert load_site(text.encode(), "x", Catalogues())[0].about.name == name
    assert [path.name for path in here.iterdir() if path.name.startswith("x")] == ["x.site.yaml"]


def test_a_starter_is_written_whole_or_not_at_all(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    before = sorted(here.iterdir())
    monkeypatch.setattr(os, "link", full)
    monkeypatch.setattr(Path, "replace", full)
    done = run("new", "x.site.yaml", "--units", "1")
    assert done.exit_code == 2
    assert "No space left on device" in done.output
    assert sorted(here.iterdir()) == before
