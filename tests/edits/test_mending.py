"""What mend promises holds for the ordinary check of the bytes that it writes."""

from __future__ import annotations

import json
import re
import subprocess
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.edits.mending import mended
from meshlint.edits.proof import judged, proven
from meshlint.edits.rewriting import Drop, Set
from meshlint.edits.writing import ChangedError, write_over
from meshlint.run import Checker
from meshlint.site.problem import InputError

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
RANK = ("error", "warning", "note", "caution")


def sites() -> list[tuple[str, bytes]]:
    found = [(str(path), path.read_bytes()) for path in sorted(ROOT.glob("samples/branches/*"))]
    for path in sorted(ROOT.glob("tests/rules/*.yaml")):
        texts = re.split(r"^---\n", path.read_text(), flags=re.MULTILINE)
        found += [(str(path.with_suffix(".site.yaml")), text.encode()) for text in texts]
    return found


def test_every_change_that_mend_proves_does_what_it_says_when_checked() -> None:
    """An independent way: the check that users run, not the states that the proof was made of."""
    checker = Checker(TODAY, apart=True)
    proofs = 0
    for path, data in sites():
        mends, left, _ = mended(Checker(TODAY), data, path)
        before = data
        for mend in mends:
            one, two = (checker.check(state, path) for state in (before, mend.proof.data))
            assert not two.problems
            then = {(f.rule, f.subject): f for f in one.findings}
            now = {(f.rule, f.subject): f for f in two.findings}
            here = now.get(mend.finding)
            assert here is None or RANK.index(here.severity) > RANK.index(mend.severity)
            assert (here is None) == (mend.proof.left is None)
            assert mend.finding not in {(e.rule, e.subject) for e in two.not_judged}
            for pair, found in now.items():
                if pair not in then:
                    assert RANK.index(found.severity) > RANK.index(mend.severity)
                    assert pair in mend.proof.milder
            before, proofs = mend.proof.data, proofs + 1
        if mends:
            was, last = (judged(checker, state, path) for state in (data, before))
            assert was.joined <= last.joined
            for group, rate in was.rates_mbps.items():
                assert last.rates_mbps[group] >= 0.95 * rate or last.joined > was.joined
        assert not {m.finding for m in mends if m.proof.left is None} & {u.finding for u in left}
    assert proofs > 60


HOUSE = b"""\
meshlint: 1
site: {name: House, country: GB}
primary: a
units:
  a: {radios: {low: {band: 2.4, channel: 6, width_mhz: 40, carries: [clients]}}}  # kept
"""


def test_a_change_that_only_makes_the_rule_unable_to_judge_is_no_proof() -> None:
    checker = Checker(TODAY)
    before = judged(checker, HOUSE, "house.site.yaml")
    edits = (Set(("units", "a", "radios", "low", "width_mhz"), "unheard of"),)
    pair = ("two-four-narrow", "units/a/radios/low")
    assert "would not be sound" in str(proven(checker, before, edits, pair))
    same = (Set(("units", "a", "radios", "low", "channel"), 7),)
    assert proven(checker, before, same, pair) == "the finding would stay"
    silent = (Drop(("units", "a", "radios", "low", "width_mhz")),)
    assert proven(checker, before, silent, pair) == "the rule could not be judged any more"


def test_a_patch_is_what_git_applies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for data in (
        HOUSE,
        HOUSE.rstrip(b"\n"),
        HOUSE.replace(b"\n", b"\r\n"),
        b"\xef\xbb\xbf" + HOUSE,
    ):
        path = tmp_path / "a house.site.yaml"
        path.write_bytes(data)
        result = CliRunner().invoke(cli, ["mend", path.name, "two-four-narrow", "--diff"])
        assert result.exit_code == 0, result.output
        subprocess.run(["git", "apply"], input=result.stdout_bytes, check=True)
        assert path.read_bytes() == data.replace(b"width_mhz: 40", b"width_mhz: 20")


def test_write_writes_the_proven_bytes_and_keeps_the_old_ones(tmp_path: Path) -> None:
    path = tmp_path / "house.site.yaml"
    path.write_bytes(HOUSE)
    result = CliRunner().invoke(cli, ["mend", str(path), "two-four-narrow", "--write"])
    assert result.exit_code == 0, result.output
    assert path.read_bytes() == HOUSE.replace(b"width_mhz: 40", b"width_mhz: 20")
    assert (tmp_path / "house.site.yaml.before").read_bytes() == HOUSE


def test_a_file_that_changed_meanwhile_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "house.site.yaml"
    path.write_bytes(HOUSE + b"# somebody was here\n")
    with pytest.raises(ChangedError):
        write_over(path, HOUSE, b"")
    assert path.read_bytes().endswith(b"here\n")
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_bytes_that_are_no_site_are_told_as_ever(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        mended(Checker(TODAY), b"meshlint: 1\n", "x.site.yaml")
    path = tmp_path / "x.site.yaml"
    path.write_bytes(b"meshlint: 1\n")
    assert CliRunner().invoke(cli, ["mend", str(path)]).exit_code == 2
    path.write_bytes(HOUSE)
    assert CliRunner().invoke(cli, ["mend", str(path), "no-such-rule"]).exit_code == 2


def test_json_tells_each_change_and_what_is_left(tmp_path: Path) -> None:
    path = tmp_path / "house.site.yaml"
    path.write_bytes(HOUSE)
    result = CliRunner().invoke(cli, ["mend", str(path), "--format", "json"])
    told = json.loads(result.stdout)
    (mend,) = [m for m in told["mends"] if m["finding"]["rule"] == "two-four-narrow"]
    where = ["units", "a", "radios", "low", "width_mhz"]
    assert mend["change"]["edits"] == [{"do": "set", "where": where, "value": 20}]
    assert (mend["rule_then_holds"], mend["severity_then"]) == (True, None)
    mends, left, _ = mended(Checker(date.today()), HOUSE, str(path))  # noqa: DTZ011 - as the command
    assert [m["finding"]["subject"] for m in told["mends"]] == [m.finding[1] for m in mends]
    assert [e["finding"]["rule"] for e in told["left"]] == [e.finding[0] for e in left]
    assert result.exit_code == bool(left)
    assert CliRunner().invoke(cli, ["mend", str(path), "--format", "json", "--diff"]).exit_code == 2


def test_a_site_without_findings_has_nothing_to_mend(tmp_path: Path) -> None:
    path = tmp_path / "a.site.yaml"
    path.write_text("meshlint: 1\nsite: {name: Alone, country: GB}\nprimary: a\nunits: {a: {}}\n")
    done = CliRunner().invoke(cli, ["mend", str(path)])
    assert (done.exit_code, done.output) == (0, "There is no open finding to mend.\n")
