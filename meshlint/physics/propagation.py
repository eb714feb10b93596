"""How much a radio signal loses on its way when no walls are drawn.

Three published families, each of the form ``slope log10 d + frequency slope log10 f + constant``,
so that one record, `PathModel`, holds any of them:

* free space, ITU-R P.525 (outdoors);
* the power-loss-coefficient form of ITU-R P.1238 (homes, offices, commercial rooms), whose
  coefficient already contains the walls: never add walls to it;
* the site-general rows of ITU-R P.1238-11 (corridors and industrial halls; for offices a second
  opinion inside its published range).

All give medians; the published spread about the median is ``sigma_db``. The texts of ITU-R were
not read: every clause and table number here is second-hand, and ``status`` tells of each row
whether its figures were seen in a copy or written from memory.
"""

from __future__ import annotations

import math
from typing import Final, Literal, TypeAlias

from msgspec import Struct
from msgspec.structs import replace

Surroundings: TypeAlias = Literal[
    "home", "office", "commercial", "corridor", "industrial", "outdoors"
]
Sight: TypeAlias = Literal["line of sight", "no line of sight"]
Status: TypeAlias = Literal["seen", "seen in part", "from memory"]

SPEED_OF_LIGHT_M_S: Final = 299_792_458.0  # exact by definition of the metre (SI)
NEAREST_M: Final = 1.0  # models of distance are not meant for less; P.1238 says d > 1 m

_FREE_SPACE_CONSTANT_DB: Final = 20 * math.log10(4 * math.pi * 1e6 / SPEED_OF_LIGHT_M_S)
_P1238_CONSTANT_DB: Final = -28.0


class OutsideModel(ValueError):  # noqa: N818 - it names a condition, like StopIteration
    """A published model was asked for something outside the range it was published for."""


class PathModel(Struct, frozen=True):
    """A loss model: ``slope_db log10 d(m) + frequency_slope_db log10 f(MHz) + constant_db``.

    ``floors_db`` holds the total loss of 1, 2 ... floors as far as it is published; no entry means
    that none is. ``sigma_db`` is None where no spread is published (free space has none).
    ``in_sight`` marks a model of ends that see each other, which holds no walls.
    """

    name: str
    slope_db: float
    frequency_slope_db: float
    constant_db: float
    nearest_m: float
    farthest_m: float
    low_mhz: float
    high_mhz: float
    floors_db: tuple[float, ...]
    sigma_db: float | None
    source: str
    status: Status
    note: str = ""
    in_sight: bool = False


# --- free space ---------------------------------------------------------------------------------

FREE_SPACE: Final = PathModel(
    name="free space",
    slope_db=20.0,
    frequency_slope_db=20.0,
    constant_db=_FREE_SPACE_CONSTANT_DB,
    nearest_m=NEAREST_M,
    farthest_m=math.inf,
    low_mhz=30.0,
    high_mhz=100_000.0,
    floors_db=(),
    sigma_db=None,
    source="ITU-R P.525-5 (2024), free-space basic transmission loss",
    status="seen",
    note="nothing in the way; a lower bound on loss wherever something is",
    in_sight=True,
)


def free_space_loss_db(length_m: float, frequency_mhz: float) -> float:
    """Return the free-space basic transmission loss in dB (ITU-R P.525).

    20 log10(4 pi d f / c) with the exact speed of light; the rounded textbook constant 32.4 (km,
    MHz) is 0.05 dB lower. Far field only: needs a length and a frequency above zero, and means
    little within a few wavelengths.
    """
    _positive(length_m, frequency_mhz)
    return 20 * math.log10(length_m) + 20 * math.log10(frequency_mhz) + _FREE_SPACE_CONSTANT_DB


# --- ITU-R P.1238, power-loss-coefficient form ----------------------------------------------------

_P1238 = "ITU-R P.1238 (editions -7 to -9), 3.1 eq. (1), Tables 2, 3 and 4"
_HOUSE = "house figures; an apartment house reads {apart}"


class _Row(Struct, frozen=True):
    coefficient: float
    floors_db: tuple[float, ...]
    sigma_db: float
    status: Status
    note: str


_HOME_5 = _Row(
    28.0,
    (7.0, 14.0, 21.0),
    8.0,
    "seen in part",
    "N seen, floors and spread from memory; "
    + _HOUSE.format(apart="N 30, 13 dB a slab")
    + "; the spread is the 1.8-2 GHz row's",
)
_OFFICE_5 = _Row(
    31.0,
    (16.0,),
    12.0,
    "seen in part",
    "N and floor seen, spread from memory; the 5.8 GHz row reads N 24 with a spread of 17 dB",
)
_COMMERCIAL_5 = _Row(
    22.0,
    (),
    10.0,
    "seen in part",
    "no 5.2 GHz row is published: N of the 4 GHz row, spread of the 1.8-2 GHz row (from memory)",
)


def _as_six(row: _Row) -> _Row:
    return replace(row, note=f"{row.note}; no 6 GHz row is published: the 5.2 GHz row is used")


# Surroundings, band -> row of Tables 2 (N), 3 (floors) and 4 (spread).
_COEFFICIENT_ROWS: Final[dict[tuple[str, float], _Row]] = {
    ("home", 2.4): _Row(
        28.0,
        (5.0, 10.0, 15.0),
        8.0,
        "from memory",
        _HOUSE.format(apart="10 dB a slab") + "; the spread is the 1.8-2 GHz row's",
    ),
    ("home", 5): _HOME_5,
    ("home", 6): _as_six(_HOME_5),
    ("office", 2.4): _Row(
        30.0,
        (14.0,),
        10.0,
        "seen in part",
        "N and floor seen; the spread is the 1.8-2 GHz row's, from memory",
    ),
    ("office", 5): _OFFICE_5,
    ("office", 6): _as_six(_OFFICE_5),
    ("commercial", 2.4): _Row(
        22.0,
        (6.0, 9.0, 12.0),
        10.0,
        "seen in part",
        "no 2.4 GHz row is published: the 1.8-2 GHz row is used (N is 22 at 4 GHz too); spread "
        "from memory",
    ),
    ("commercial", 5): _COMMERCIAL_5,
    ("commercial", 6): _as_six(_COMMERCIAL_5),
}


def indoor_loss_db(
    length_m: float, frequency_mhz: float, coefficient: float, floor_loss_db: float = 0.0
) -> float:
    """Return the median loss in dB by the coefficient form of ITU-R P.1238.

    L = 20 log10 f(MHz) + N log10 d(m) + Lf(n) - 28, walls included in N, d held to at least 1 m.
    """
    _positive(length_m, frequency_mhz)
    return (
        20 * math.log10(frequency_mhz)
        + coefficient * math.log10(max(length_m, NEAREST_M))
        + floor_loss_db
        + _P1238_CONSTANT_DB
    )


# --- ITU-R P.1238-11, site-general form -----------------------------------------------------------

_SITE_GENERAL_SOURCE = "ITU-R P.1238-11 (2021), 3.1 site-general models, Table 2"
_SITE_GENERAL_FACTS = (
    # environment, sight, GHz from-to, m from-to, alpha, beta, gamma, sigma
    ("office", "line of sight", 0.3, 83.5, 2, 27, 1.46, 34.62, 2.03, 3.76),
    ("office", "no line of sight", 0.3, 82.0, 4, 30, 2.46, 29.53, 2.38, 5.04),
    ("corridor", "line of sight", 0.3, 83.5, 2, 160, 1.63, 28.12, 2.25, 4.07),
    ("corridor", "no line of sight", 0.625, 83.5, 4, 94, 2.77, 29.27, 2.48, 7.63),
    ("industrial", "line of sight", 0.625, 70.28, 2, 101, 2.31, 24.52, 2.06, 2.69),
    ("industrial", "no line of sight", 0.625, 70.28, 5, 108, 3.79, 21.01, 1.34, 9.05),
)

# L = 10 alpha log10 d(m) + beta + 10 gamma log10 f(GHz). With f in MHz, -30 gamma joins beta.
SITE_GENERAL: Final[dict[tuple[str, str], PathModel]] = {
    (environment, sight): PathModel(
        name=f"{environment}, {sight}, site-general",
        slope_db=10 * alpha,
        frequency_slope_db=10 * gamma,
        constant_db=beta - 30 * gamma,
        nearest_m=float(nearest_m),
        farthest_m=float(farthest_m),
        low_mhz=low_ghz * 1000,
        high_mhz=high_ghz * 1000,
        floors_db=(),
        sigma_db=sigma_db,
        source=_SITE_GENERAL_SOURCE,
        status="seen",
        note="one storey only; no later edition was compared",
        in_sight=sight == "line of sight",
    )
    for (
        environment,
        sight,
        low_ghz,
        high_ghz,
        nearest_m,
        farthest_m,
        alpha,
        beta,
        gamma,
        sigma_db,
    ) in _SITE_GENERAL_FACTS
}


def site_general_model(environment: str, sight: Sight) -> PathModel:
    """Return the site-general row of an environment ('office', 'corridor' or 'industrial').

    Raises OutsideModel where ITU-R P.1238-11 has no row; there is none for homes.
    """
    try:
        return SITE_GENERAL[environment, sight]
    except KeyError:
        message = f"ITU-R P.1238-11 has no site-general row for {environment}, {sight}"
        raise OutsideModel(message) from None


def site_general_loss_db(
    environment: str, sight: Sight, length_m: float, frequency_mhz: float
) -> float:
    """Return the median loss in dB by a site-general row of ITU-R P.1238-11.

    L = 10 alpha log10 d(m) + beta + 10 gamma log10 f(GHz), random term left out. Raises
    OutsideModel when the distance or the frequency is outside the row's published range.
    """
    model = site_general_model(environment, sight)
    _positive(length_m, frequency_mhz)
    if length_m < model.nearest_m:
        raise OutsideModel(_range_message(model, f"{length_m:g} m"))
    return path_loss_db(model, frequency_mhz, length_m)


# --- which model serves which surroundings --------------------------------------------------------


def indoor_model(surroundings: Surroundings, band: float) -> PathModel:
    """Return the model for a surroundings word of the site file and a band (2.4, 5 or 6 GHz).

    | surroundings             | model                                                        |
    |--------------------------|--------------------------------------------------------------|
    | home, office, commercial | P.1238 coefficient form, walls inside N                      |
    | corridor, industrial     | P.1238-11 site-general, no line of sight, inside its range   |
    | outdoors                 | P.525 free space                                             |

    Without a drawing nobody knows what stands in the line, so the rows without line of sight serve
    corridor and industrial. In offices the newer row serves before this one: see
    `distance.indoor_term`. Raises OutsideModel for a word or band that has no row.
    """
    if surroundings == "outdoors":
        return FREE_SPACE
    if surroundings in {"corridor", "industrial"}:
        return site_general_model(surroundings, "no line of sight")
    row = _COEFFICIENT_ROWS.get((surroundings, band))
    if row is None:
        message = f"no published indoor row for {surroundings} in the {band:g} GHz band"
        raise OutsideModel(message)
    return PathModel(
        name=f"{surroundings}, power-loss coefficient",
        slope_db=row.coefficient,
        frequency_slope_db=20.0,
        constant_db=_P1238_CONSTANT_DB,
        nearest_m=NEAREST_M,
        farthest_m=math.inf,
        low_mhz=900.0,
        high_mhz=100_000.0,
        floors_db=row.floors_db,
        sigma_db=row.sigma_db,
        source=_P1238,
        status=row.status,
        note=row.note,
    )


def path_loss_db(model: PathModel, frequency_mhz: float, length_m: float, floors: int = 0) -> float:
    """Return the median loss in dB over a length and through so many floors.

    Nearer than the model's range the loss falls from its near edge as that of free space does, down
    to 1 m: a convention of ours, so that a nearer unit is always the louder one. Farther, at a
    frequency outside the range, or through more floors than are published, OutsideModel is raised.
    """
    _positive(length_m, frequency_mhz)
    if length_m > model.farthest_m:
        raise OutsideModel(_range_message(model, f"{length_m:g} m"))
    nearer = min(max(length_m, NEAREST_M) / model.nearest_m, 1.0)
    return (
        model.slope_db * math.log10(max(length_m, model.nearest_m))
        + FREE_SPACE.slope_db * math.log10(nearer)
        + _loss_at_one_metre_db(model, frequency_mhz)
        + floor_loss_db(model, floors)
    )


def floor_loss_db(model: PathModel, floors: int) -> float:
    """Return the published loss in dB of crossing so many floors; 0 for none.

    Raises OutsideModel when the model publishes no figure for that many.
    """
    if floors < 0:
        message = f"floors crossed cannot be {floors}"
        raise ValueError(message)
    if floors == 0:
        return 0.0
    if floors > len(model.floors_db):
        published = len(model.floors_db)
        message = (
            f"{model.name}: {floors} floors crossed, the loss is published for {published or 'no'}"
        )
        raise OutsideModel(message)
    return model.floors_db[floors - 1]


def _loss_at_one_metre_db(model: PathModel, frequency_mhz: float) -> float:
    if not model.low_mhz <= frequency_mhz <= model.high_mhz:
        raise OutsideModel(_range_message(model, f"{frequency_mhz:g} MHz"))
    return model.frequency_slope_db * math.log10(frequency_mhz) + model.constant_db


def _range_message(model: PathModel, asked: str) -> str:
    return (
        f"{asked} is outside {model.name} ({model.source}): published from {model.nearest_m:g} to "
        f"{model.farthest_m:g} m and {model.low_mhz:g} to {model.high_mhz:g} MHz"
    )


def _positive(length_m: float, frequency_mhz: float) -> None:
    if not (length_m > 0 and frequency_mhz > 0):
        message = f"a path needs a length and a frequency above 0, not {length_m}, {frequency_mhz}"
        raise ValueError(message)
