"""Decoder of the binary wireless regulatory database, and the generator of our table from it.

Layout of format 20, all numbers big-endian, as the Linux kernel's net/wireless/reg.c and the
database's own compiler have it: a header (magic "RGDB", version), then country records (two
letters, pointer to a collection; the list ends at pointer 0); a collection (length, number of
rules, radar region, then from its length rounded up to even one pointer per rule); a rule (length,
flags, EIRP in hundredths of a dBm, edges and widest channel in kHz, and where it is long enough the
availability check in seconds and a pointer to access parameters, which no design rule needs).
Pointers count four bytes.

`python -m meshlint.law.decode /lib/firmware/regulatory.db --release 2026.09.03-1~deb12u1` writes
the table.
"""

from __future__ import annotations

import argparse
import json
import struct
import sys
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meshlint.law.regulatory import FLAGS, REGIONS, Country, Rule

if TYPE_CHECKING:
    from collections.abc import Sequence

_MAGIC = 0x52474442  # "RGDB"
_VERSION = 20
_HEADER = struct.Struct(">II")
_COUNTRY = struct.Struct(">2sH")
_COLLECTION = struct.Struct(">BBB")
_RULE = struct.Struct(">BBHIII")
_CHECK = struct.Struct(">H")
_POINTER = struct.Struct(">H")
_POINTER_BYTES = 4


class DatabaseError(ValueError):
    """The bytes are no regulatory database of the known format, or not all of one."""


def decode(data: bytes) -> dict[str, Country]:
    """Return the countries of a binary database by code, in its order.

    Raises `DatabaseError` for a file of another kind or version, for one cut short, and for flags
    or regions that are not known: an unknown flag could forbid what would be read as allowed.
    """
    magic, version = _unpack(_HEADER, data, 0)
    if magic != _MAGIC:
        raise DatabaseError("this is no wireless regulatory database (it does not begin with RGDB)")
    if version != _VERSION:
        raise DatabaseError(f"format {version} is not known, only format {_VERSION}")
    countries: dict[str, Country] = {}
    offset = _HEADER.size
    while True:
        letters, pointer = _unpack(_COUNTRY, data, offset)
        if pointer == 0:
            return countries
        code = letters.decode("latin-1")
        if not (code.isascii() and code.isalnum()) or code in countries:
            raise DatabaseError(f"the country code {code!r} at byte {offset} is wrong or repeated")
        countries[code] = _country(code, data, pointer * _POINTER_BYTES)
        offset += _COUNTRY.size


def table_text(countries: dict[str, Country], release: str, digest: str) -> str:
    """Return the table as JSON text with one country per line."""
    source = {
        "package": "wireless-regdb (Debian)",
        "release": release,
        "sha256": digest,
        "source": "https://git.kernel.org/pub/scm/linux/kernel/git/sforshee/wireless-regdb.git",
        "licence": "ISC, see NOTICE-wireless-regdb.txt",
        "made_by": "python -m meshlint.law.decode",
        "rule": "low_mhz, high_mhz, max_width_mhz, max_eirp_dbm, flags, check_s where not 0",
    }
    lines = ",\n".join(
        f"{json.dumps(code)}: {json.dumps(_row(c), separators=(',', ':'))}"
        for code, c in sorted(countries.items())
    )
    return f'{{\n"source": {json.dumps(source, indent=1)},\n"countries": {{\n{lines}\n}}\n}}\n'


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the table from a binary database; 2 where the input cannot be understood."""
    parser = argparse.ArgumentParser(prog="python -m meshlint.law.decode", description=__doc__)
    parser.add_argument("path", type=Path, help="the binary database")
    parser.add_argument(
        "--release", required=True, help="release of the database, as 2026.09.03-1~deb12u1"
    )
    options = parser.parse_args(arguments)
    try:
        data = options.path.read_bytes()
        countries = decode(data)
    except (DatabaseError, OSError) as error:
        sys.stderr.write(f"{options.path}: {error}\n")
        return 2
    target = Path(__file__).with_name("data") / "regulatory.json"
    target.write_text(
        table_text(countries, options.release, sha256(data).hexdigest()), encoding="utf-8"
    )
    return 0


def _unpack(layout: struct.Struct, data: bytes, offset: int) -> tuple[Any, ...]:
    try:
        return layout.unpack_from(data, offset)
    except struct.error:
        raise DatabaseError(
            f"cut short: {layout.size} bytes are needed at byte {offset} of {len(data)}"
        ) from None


def _country(code: str, data: bytes, offset: int) -> Country:
    length, count, region = _unpack(_COLLECTION, data, offset)
    if length < _COLLECTION.size or region >= len(REGIONS):
        raise DatabaseError(f"the rules of {code} at byte {offset} have an unknown form")
    start = offset + length + length % 2
    pointers = (_unpack(_POINTER, data, start + _POINTER.size * i)[0] for i in range(count))
    rules = tuple(_rule(code, data, pointer * _POINTER_BYTES) for pointer in pointers)
    return Country(code, REGIONS[region], rules)


def _rule(code: str, data: bytes, offset: int) -> Rule:
    length, flags, eirp, low, high, width = _unpack(_RULE, data, offset)
    if length < _RULE.size or flags >= 1 << len(FLAGS) or not low < high:
        raise DatabaseError(f"a rule of {code} at byte {offset} has an unknown form")
    has_check = length >= _RULE.size + _CHECK.size
    return Rule(
        low_mhz=low / 1000,
        high_mhz=high / 1000,
        max_width_mhz=width / 1000,
        max_eirp_dbm=eirp / 100,
        flags=frozenset(flag for bit, flag in enumerate(FLAGS) if flags >> bit & 1),
        check_s=_unpack(_CHECK, data, offset + _RULE.size)[0] if has_check else 0,
    )


def _row(country: Country) -> dict[str, object]:
    return {
        "region": country.dfs_region,
        "rules": [
            [
                *map(_short, (r.low_mhz, r.high_mhz, r.max_width_mhz, r.max_eirp_dbm)),
                [flag for flag in FLAGS if flag in r.flags],
                *([r.check_s] if r.check_s else []),
            ]
            for r in country.rules
        ],
    }


def _short(number: float) -> float:
    return int(number) if number == int(number) else number


if __name__ == "__main__":
    sys.exit(main())
