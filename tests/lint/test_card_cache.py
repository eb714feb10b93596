"""The pack of shipped cards never says anything else than the cards' own files."""

from __future__ import annotations

import shutil

import pytest

from meshlint.datafiles import PACK, data_folder
from meshlint.lint import card_cache
from meshlint.lint.card import load_rulebook
from meshlint.lint.card_cache import pack_text, packed, shipped_rulebook
from meshlint.site.problem import InputError
from meshlint.workings.catalogue import FACTS


@pytest.fixture
def folder(tmp_path, monkeypatch):
    rules = tmp_path / "rules"
    shutil.copytree(data_folder("rules"), rules)
    monkeypatch.setattr(card_cache, "data_folder", lambda _: rules)
    monkeypatch.setattr(card_cache, "in_a_wheel", lambda: False)
    return rules


def test_cards_out_of_the_pack_equal_those_read_with_every_check(folder, tmp_path, monkeypatch):
    fresh = tmp_path / "cards.json"
    fresh.write_text(pack_text(FACTS), encoding="utf-8")
    monkeypatch.setattr(card_cache, "PACK", fresh)
    paths = sorted(folder.glob("*.yaml"))
    assert len(packed(fresh)) == len(paths) > 50
    monkeypatch.setattr(card_cache, "card_as_it_stands", None)  # nothing is read from YAML
    assert shipped_rulebook(FACTS).cards == load_rulebook(paths, FACTS).cards


def test_whatever_of_the_pack_that_is_shipped_still_counts_is_what_the_files_say():
    assert len(packed(PACK)) > 50
    held = {card.id: card for card in shipped_rulebook(FACTS).cards}
    strict = load_rulebook(sorted(data_folder("rules").glob("*.yaml")), FACTS)
    assert held == {card.id: card for card in strict.cards}


def test_in_a_wheel_the_pack_is_taken_as_it_is_and_names_the_files(folder, monkeypatch):
    whole = shipped_rulebook(FACTS).cards
    monkeypatch.setattr(card_cache, "in_a_wheel", lambda: True)
    monkeypatch.setattr(card_cache, "read_bytes", None)  # no file of a card is opened
    assert shipped_rulebook(FACTS).cards == whole
    assert {card.path for card in whole} == {str(path) for path in folder.glob("*.yaml")}


def test_a_card_that_was_edited_counts_as_it_is_now(folder):
    card = folder / "hop-depth.yaml"
    text = card.read_text(encoding="utf-8")
    card.write_text(text.replace("\ntitle: ", "\ntitle: Edited, "), encoding="utf-8")
    titles = {card.id: card.title for card in shipped_rulebook(FACTS).cards}
    assert titles["hop-depth"].startswith("Edited, ")


def test_a_card_that_was_taken_away_is_gone(folder):
    (folder / "hop-depth.yaml").unlink()
    assert "hop-depth" not in {card.id for card in shipped_rulebook(FACTS).cards}


def test_a_card_that_was_spoilt_is_told_with_its_place(folder):
    (folder / "hop-depth.yaml").write_text("id: hop-depth\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"hop-depth\.yaml:1:1"):
        shipped_rulebook(FACTS)


@pytest.mark.parametrize("content", [None, "", "[", '[{"digest": "x", "card": {"id": 1}}]', "{}"])
def test_a_pack_that_is_missing_or_spoilt_only_costs_time(content, tmp_path, monkeypatch):
    spoilt = tmp_path / "cards.json"
    if content is not None:
        spoilt.write_text(content, encoding="utf-8")
    assert packed(spoilt) == {}
    whole = shipped_rulebook(FACTS).cards
    monkeypatch.setattr(card_cache, "PACK", spoilt)
    assert shipped_rulebook(FACTS).cards == whole
