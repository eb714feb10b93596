"""Whoever looks a word of the trade up finds the rules that treat it."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from meshlint.cli import cli
from meshlint.lint.search import about
from meshlint.run import shipped_rules


@pytest.mark.parametrize(
    ("word", "first"),
    [
        ("DFS", "backhaul-leg-off-radar"),
        ("ssid", "factory-name"),
        ("PoE", "power-over-cable-budget"),
        ("roaming", "roaming-aids"),
        ("hidden node", "hidden-node"),
        ("co-channel", "overlap-not-too-much"),
        ("EIRP", "power-permitted"),
        ("airtime", "airtime-room"),
    ],
)
def test_a_word_of_the_trade_finds_its_rule_first(word: str, first: str) -> None:
    assert about(shipped_rules().cards, word)[0].id == first


@pytest.mark.parametrize("word", ["radar", "gateway", "wpa3", "wired", "node", "handover"])
def test_another_name_for_a_thing_finds_it_too(word: str) -> None:
    assert about(shipped_rules().cards, word)


def test_part_of_a_word_is_no_word() -> None:
    assert about(shipped_rules().cards, "adar") == ()


def test_explain_lists_the_rules_of_a_word_and_refuses_what_nothing_treats() -> None:
    found = CliRunner().invoke(cli, ["explain", "dfs"])
    assert found.exit_code == 0
    assert "No rule is called dfs. These treat it, closest first:" in found.output
    assert "backhaul-off-radar" in found.output
    refused = CliRunner().invoke(cli, ["explain", "zzz"])
    assert refused.exit_code == 2
    assert "there is no rule 'zzz'" in refused.output
