"""The decoder of the binary database, against the database itself and against broken input."""

from __future__ import annotations

import json
from hashlib import sha256
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshlint.law.decode import DatabaseError, decode, main
from meshlint.law.regulatory import Rule, countries

DATABASE = Path("/lib/firmware/regulatory.db-debian")

# A database of one country made by hand from the published layout: header, one country record, the
# list's end, a collection of one rule in the ETSI region, and the rule 5250-5350 MHz at 80 MHz,
# 20.00 dBm, indoors, radar, automatic width, with an availability check of 60 s.
ONE_RULE = bytes.fromhex(
    "52474442 00000014 4445 0004 0000 0000 03 01 02 00 0006 0000"
    "12 16 07d0 00501bd0 0051a270 00013880 003c".replace(" ", "")
)


def test_a_database_made_by_hand_decodes() -> None:
    made = decode(ONE_RULE)
    flags = frozenset({"no-outdoor", "radar", "auto-width"})
    assert list(made) == ["DE"]
    assert made["DE"].dfs_region == "ETSI"
    assert made["DE"].rules == (Rule(5250.0, 5350.0, 80.0, 20.0, flags, 60),)


@given(st.integers(0, len(ONE_RULE) - 1))
def test_a_database_cut_anywhere_is_refused(length: int) -> None:
    with pytest.raises(DatabaseError, match="cut short"):
        decode(ONE_RULE[:length])


@given(st.binary(max_size=200).filter(lambda b: not b.startswith(b"RGDB")))
def test_foreign_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(DatabaseError):
        decode(data)


@pytest.mark.parametrize(
    ("at", "value", "told"),
    [(7, 21, "format 21"), (18, 7, "form"), (21, 200, "cut short"), (25, 0x3F, "form")],
)
def test_an_unknown_form_is_refused(at: int, value: int, told: str) -> None:
    broken = bytearray(ONE_RULE)
    broken[at] = value
    with pytest.raises(DatabaseError, match=told):
        decode(bytes(broken))


def test_the_generator_names_the_file_it_could_not_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "other.db"
    path.write_bytes(b"GIF89a, not a database")
    assert main([str(path), "--release", "none"]) == 2
    assert "other.db: this is no wireless regulatory database" in capsys.readouterr().err


@pytest.mark.skipif(not DATABASE.exists(), reason="Debian's wireless-regdb is not installed")
def test_the_table_equals_the_database_decoded_afresh() -> None:
    data = DATABASE.read_bytes()
    source = json.loads(files("meshlint.law").joinpath("data/regulatory.json").read_text())[
        "source"
    ]
    if sha256(data).hexdigest() != source["sha256"]:
        pytest.skip(f"another release than the table's {source['release']} is installed")
    assert decode(data) == countries()
    with pytest.raises(DatabaseError):
        decode(data[:1000])
