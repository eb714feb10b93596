"""What is generated so that a run starts quickly: the pack of cards, and the index of facts.

The build puts both into a wheel (`build_packs.py`) and `python -m meshlint.docs` into a checkout;
neither is kept in git. Without them everything works, and every run is slower.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshlint.datafiles import FACT_INDEX, PACK
from meshlint.lint.card_cache import pack_text
from meshlint.workings.catalogue import all_facts, index_text

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def written() -> Iterator[Path]:
    """Write the generated files to their places; yield each that has been written."""
    PACK.parent.mkdir(exist_ok=True)
    for path, text in ((FACT_INDEX, index_text()), (PACK, pack_text(all_facts()))):
        path.write_text(text, encoding="utf-8")
        yield path
