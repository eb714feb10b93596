"""What an answer tells of a change is what the ordinary check says of the file after it."""

from __future__ import annotations

import json
import re
import subprocess
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.edits.proof import judged
from meshlint.run import Checker
from meshlint.site.problem import InputError
from meshlint.what_if.asking import Answer, Question, answer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meshlint.site.model import Site

ROOT = Path(__file__).parents[2]
TODAY = date(2026, 11, 25)
Pairs = dict[tuple[str, str], str]


def findings(data: bytes, path: str) -> Pairs:
    """Return the findings of the check that users run, each by itself, with its severity."""
    result = Checker(TODAY, apart=True).check(data, path)
    assert not result.problems, result.problems
    return {(f.rule, f.subject): f.severity for f in result.findings if not f.is_accepted}


def asked(data: bytes, path: str, question: Question) -> Answer:
    return answer(Checker(TODAY), data, path, question)


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(cli, ["what-if", *words, "--today", "2026-11-25"])
    return result.exit_code, result.output


CHAIN = """\
meshlint: 1
site: {name: House, country: GB}
primary: a
internet_lines: {main: {enters_at: a, down_mbps: 300, up_mbps: 50}}
units:
  a:
    routes: true
    radios:
      mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients, backhaul]}
  b: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients, backhaul]}}}
  c:   # the far end
    radios:
      mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients, backhaul]}
backhaul:
  b to a: {from: b, to: a, over: radio}
  c to b: {from: c, to: b, over: radio}
cable_routes:
  - {between: [a, c], state: laid, category: 6, length_m: 20, path: indoors, through: []}
clients:
  phones: {count: 4, near: c, down_mbps: 2, up_mbps: 1}
"""
PATH = "house.site.yaml"


@pytest.mark.parametrize(
    ("words", "by_hand"),
    [
        (("--join", "c=a"), [("{from: c, to: b, over: radio}",
                              "{from: c, to: a, over: radio, from_radio: mid, to_radio: mid}")]),
        (("--lay", "a to c"), [("{from: c, to: b, over: radio}",
                                "{from: c, to: a, over: cable, category: 6, length_m: 20, "
                                "path: indoors, through: []}")]),
        (("--channel", "b/mid=44"), [("channel: 36", "channel: 44")]),
        (("--width", "units/a/radios/mid=80"), [("width_mhz: 40", "width_mhz: 80")]),
        (("--power", "c, radio mid=17"), [("      mid: {band: 5, channel: 36, width_mhz: 40, "
                                           "carries: [clients, backhaul]}\nback",
                                           "      mid: {band: 5, channel: 36, width_mhz: 40, "
                                           "carries: [clients, backhaul], power_dbm: 17}\nback")]),
        (("--more", "3", "phones"), [("count: 4", "count: 7")]),
        (("--primary", "b"), [("primary: a", "primary: b"), ("enters_at: a", "enters_at: b"),
                              ("routes: true", "routes: false"),
                              ("  b: {radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: "
                               "[clients, backhaul]}}}", "  b: {radios: {mid: {band: 5, channel: "
                               "36, width_mhz: 40, carries: [clients, backhaul]}},\n"
                               "      routes: true}")]),
    ],
    ids=lambda value: value[0] if isinstance(value[0], str) else "",
)  # fmt: skip
def test_a_change_is_what_a_person_would_have_written(
    words: tuple[str, ...],
    by_hand: list[tuple[str, str]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / PATH
    path.write_text(CHAIN)
    result = CliRunner().invoke(cli, ["what-if", PATH, *words, "--diff", "--today", "2026-11-25"])
    subprocess.run(["git", "apply"], input=result.stdout_bytes, check=True)
    wanted = CHAIN
    for old, new in by_hand:
        assert old in wanted
        wanted = wanted.replace(old, new)
    assert path.read_text() == wanted
    told = json.loads(run(_written(path, CHAIN), *words, "--format", "json")[1])
    before, after = (findings(text.encode(), PATH) for text in (CHAIN, wanted))
    assert {(f["rule"], f["subject"]): f["severity"] for f in told["findings_new"]} == {
        pair: severity for pair, severity in after.items() if before.get(pair) != severity
    }
    assert {
        (f["rule"], f["subject"]) for f in told["findings_gone"]
    } == before.keys() - after.keys()
    rates = judged(Checker(TODAY), wanted.encode(), PATH).rates_mbps
    for group in told["rates"]:
        known = group["down_mbps"]["after"]
        assert known == (round(rates[group["group"]], 3) if group["group"] in rates else None)


def _written(path: Path, text: str) -> str:
    path.write_text(text)
    return path.name


def cases() -> Iterator[tuple[str, bytes]]:
    """Yield the samples, and the cases of rules with radio links."""
    for name in ("emberdale", "stangmoor", "wetherlow"):
        path = ROOT / f"samples/branches/{name}.site.yaml"
        yield str(path), path.read_bytes()
    for path in sorted(ROOT.glob("tests/rules/*.yaml")):
        for text in re.split(r"^---\n", path.read_text(), flags=re.MULTILINE):
            if "over: radio" in text:
                yield str(path.with_suffix(".site.yaml")), text.encode()


def questions(site: Site, number: int) -> Iterator[Question]:
    """Yield each possible parent of each unit, and for some sites a setting and another primary."""
    bearing = [name for name, unit in site.units.items() if unit.radios]
    others = [name for name in bearing if name != site.primary]
    if len(bearing) > 2:
        pairs = [f"{unit}={other}" for unit in others for other in bearing if unit != other]
        yield from (Question(join=(pair,)) for pair in pairs[number % 2 :: 2])
    if number % 9 == 0 and others:
        unit = others[-1]
        yield Question(primary=unit)
        radio = next(iter(site.units[unit].radios))
        yield Question(channel=(f"{unit}/{radio}=40",), power=(f"{unit}/{radio}=12",))


@pytest.mark.slow
def test_every_answer_is_told_with_the_findings_of_the_file_after_its_patch(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`--diff`, applied by git and checked as users check it."""
    monkeypatch.chdir(tmp_path)
    tried = joined = 0
    for number, (path, data) in enumerate(cases()):
        try:
            site = Checker(TODAY).open(data, path).site
        except InputError:
            continue
        before = findings(data, path)
        for question in questions(site, number):
            found = asked(data, path, question)
            if found.done is None or found.unwritable:
                continue
            assert found.outcome is not None
            after = found.done.after.data
            tried, joined = tried + 1, joined + len(question.join)
            if question.join and joined % 8 == 0:
                assert _applied(data, question.join[0], path, tmp_path) == after
            then = findings(after, path)
            new = {(f.rule, f.subject): f.severity for f in found.outcome.appeared}
            gone = {(f.rule, f.subject) for f in found.outcome.gone}
            milder = {(f.rule, f.subject): f.severity for _, f in found.outcome.milder}
            assert {p: s for p, s in then.items() if before.get(p) != s} == new | milder, path
            left_open = {(e.rule, e.subject) for e in found.done.after.run.not_judged}
            assert before.keys() - then.keys() - left_open == gone, path
    assert tried > 50
    assert joined > 30


def _applied(data: bytes, join: str, of: str, folder: Path) -> bytes:
    """Return the bytes after the patch that the command prints, applied by git."""
    (folder / "equipment.yaml").write_bytes((ROOT / "samples/equipment.yaml").read_bytes())
    path = folder / "branches" / Path(of).name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    words = ["what-if", f"branches/{path.name}", "--join", join, "--diff", "--today", "2026-11-25"]
    result = CliRunner().invoke(cli, words)
    assert result.exit_code in (0, 1), result.output
    subprocess.run(["git", "apply"], input=result.stdout_bytes, check=True)
    return path.read_bytes()
