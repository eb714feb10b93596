"""The site as its author described it: plain frozen records, one for each thing in the file.

Field names are the keys of the file, except where a key is a word of Python or of another meaning
(`from` is `from_unit`, `in` is `area`, `for` is `purpose`). `None` means "not stated"; an empty
mapping or tuple means "none". What a unit's model says is merged in, the unit's own words first.
The records are `msgspec` structs because making so many dataclasses takes a fifth of a check. Their
annotations are evaluated at once, since `msgspec` would take 6 ms to evaluate them one by one.
"""

from datetime import date
from typing import Literal

from msgspec import Struct, field
from msgspec.structs import force_setattr

from meshlint.site.limits import LIMITS
from meshlint.site.places import (
    Area,
    Band,
    Building,
    GeoPlace,
    Level,
    Position,
    Surroundings,
)
from meshlint.site.waiver import Pointer as Pointer  # noqa: PLC0414 - part of the model
from meshlint.site.waiver import Waiver as Waiver  # noqa: PLC0414

Medium = Literal["cable", "coax", "powerline", "phone-line", "radio"]
CablePath = Literal["indoors", "outdoors"]
OutdoorRun = Literal["buried", "overhead", "along walls"]
Protectors = Literal["both ends", "one end", "none"]
Hazard = Literal["riser", "air space"]
Akm = Literal["open", "owe", "psk", "sae", "dot1x"]
LoopProtection = Literal["none", "spanning-tree", "rapid-spanning-tree", "mesh-routing"]
CopperRating = Literal["CMP", "CMR", "CM", "CMX"]
FibreRating = Literal["OFNP", "OFNR", "OFN", "OFCP", "OFCR", "OFC"]
EuropeanRating = Literal["Aca", "B1ca", "B2ca", "Cca", "Dca", "Eca", "Fca"]
FireRating = CopperRating | FibreRating | EuropeanRating | Literal["none"]


class About(Struct, frozen=True):
    """What the site is and where: the `site` section."""

    name: str
    site_class: str | None = None
    country: str | None = None
    place: GeoPlace | None = None
    surroundings: Surroundings | None = None
    radar_events_a_year: float | None = None
    changed: date | None = None
    fit_to_readings: bool | None = None
    client: str | None = None
    installer: str | None = None
    job: str | None = None
    designed: date | None = None


class InternetLine(Struct, frozen=True):
    """A line to the internet and the unit that it enters at."""

    name: str
    enters_at: str | None = None
    down_mbps: float | None = None
    up_mbps: float | None = None

    @property
    def pointer(self) -> Pointer:
        """Return where the line stands in the file."""
        return ("internet_lines", self.name)


class Power(Struct, frozen=True):
    """How a unit is fed."""

    by: Literal["mains", "cable", "injector"]
    source: str | None = None
    power_class: int | None = None
    socket: Literal["existing", "new"] | None = None


class Ports(Struct, frozen=True):
    """A group of like ports of a unit."""

    count: int
    rate_mbps: float | None = None
    media: Literal["copper", "fibre", "coax"] | None = None
    supplies_class: int | None = None
    faces_internet: bool | None = None


class ModelRadio(Struct, frozen=True):
    """What the catalogue says that one radio of a model can do."""

    band: Band | None = None
    generation: str | None = None
    streams: int | None = None
    max_width_mhz: int | None = None
    tunes: tuple[int | str, ...] | None = None
    max_power_dbm: float | None = None
    antenna_gain_dbi: float | None = None
    noise_figure_db: float | None = None
    beam_width_deg: float | None = None
    beam_height_deg: float | None = None


class Radio(Struct, frozen=True):
    """One transceiver of a unit, as set, with what its model can do merged in."""

    name: str
    unit: str
    band: Band | None = None
    channel: int | Literal["auto"] | None = None
    width_mhz: int | None = None
    second_channel: Literal["above", "below"] | None = None
    block: Literal[1, 2] | None = None
    avoid_radar_channels: bool | None = None
    power: Literal["high", "medium", "low", "auto"] | None = None
    power_dbm: float | None = None
    radiated_dbm: float | None = None
    power_control: bool | None = None
    power_class: Literal["low-indoor", "standard", "very-low"] | None = None
    registered: bool | None = None
    carries: tuple[Literal["clients", "backhaul"], ...] | None = None
    airtime_fairness: bool | None = None
    lowest_basic_mbps: float | None = None
    generation: str | None = None
    streams: int | None = None
    max_width_mhz: int | None = None
    tunes: tuple[int | str, ...] | None = None
    max_power_dbm: float | None = None
    antenna_gain_dbi: float | None = None
    noise_figure_db: float | None = None
    beam_width_deg: float | None = None
    beam_height_deg: float | None = None
    beam_bearing_deg: float | None = None
    beam_tilt_deg: float | None = None
    of_model: ModelRadio | None = None
    """The model's own words about this radio; `None` where the model has no such radio."""
    pointer: Pointer = ()
    """Where the radio stands in the file; kept, for nothing is asked for more often."""

    def __post_init__(self) -> None:
        force_setattr(self, "pointer", ("units", self.unit, "radios", self.name))


class Unit(Struct, frozen=True):
    """A device with radios, ports, or both."""

    name: str
    model: str | None = None
    kind: Literal["access", "switch", "router", "injector"] = "access"
    state: Literal["built", "planned"] | None = None
    at: Position | None = None
    outdoors: bool | None = None
    mounted: Literal["ceiling", "wall", "shelf", "in cabinet"] | None = None
    building: str | None = None
    people_within_m: float | None = None
    scan_made: bool | None = None
    powered: Power | None = None
    routes: bool | None = None
    hands_out_addresses: bool | None = None
    loop_protection: LoopProtection | None = None
    management_from: tuple[str, ...] | None = None
    radios: dict[str, Radio] = field(default_factory=dict)
    has_no_radio: bool = False  # said so; `radios` is empty where nothing is said, too
    ports: tuple[Ports, ...] | None = None
    routing_mbps: float | None = None
    memory_mb: float | None = None
    takes_class: int | None = None
    supply_budget_w: float | None = None
    weather_rated: bool | None = None
    model_radios: tuple[str, ...] | None = None  # `None` where model or radios are not known

    @property
    def pointer(self) -> Pointer:
        """Return where the unit stands in the file."""
        return ("units", self.name)

    @property
    def may_route(self) -> bool:
        """Return whether it is of a kind that can route."""
        return self.kind in ("access", "router")


class Link(Struct, frozen=True):
    """One backhaul link, or a leg of one; `from_unit` is the end that the file names first.

    A link that joins several radios is as many records, one a leg. `whole` is then the name of the
    link in the file, and `name` adds the leg's radio at the first end.
    """

    name: str
    from_unit: str
    to_unit: str
    over: Medium
    from_radio: str | None = None
    to_radio: str | None = None
    whole: str | None = None
    simultaneous: bool | None = None
    in_sight: bool | None = None
    role: Literal["main", "spare"] | None = None
    state: Literal["built", "planned"] | None = None
    vlans: tuple[int, ...] | None = None
    medium: Literal["copper", "fibre"] | None = None
    category: str | None = None
    length_m: float | None = None
    rate_mbps: float | None = None
    tested_mbps: float | None = None
    optics: Literal["short-wave", "long-wave"] | None = None
    path: CablePath | None = None
    run: OutdoorRun | None = None
    surge_protectors: Protectors | None = None
    through: tuple[Hazard, ...] | None = None
    fire_rating: FireRating | None = None
    nominal_mbps: float | None = None
    measured_mbps: float | None = None

    @property
    def pointer(self) -> Pointer:
        """Return where the link, or the leg of it, stands in the file."""
        if self.whole is None or self.from_radio is None:
            return ("backhaul", self.name)
        return ("backhaul", self.whole, "radios", self.from_radio)

    @property
    def in_file(self) -> str:
        """Return the name that the file gives the link, which legs of one share."""
        return self.whole or self.name

    def is_leg_of(self, other: "Link") -> bool:
        """Return whether the two are one link of the file: the same, or legs of the same."""
        return self is other or (self.whole is not None and self.whole == other.whole)

    def far_end(self, unit: str) -> str:
        """Return the end that is not `unit`."""
        return self.to_unit if unit == self.from_unit else self.from_unit

    def radio_at(self, unit: str) -> str | None:
        """Return the name of the radio that the link uses at `unit`, if it says so."""
        return self.from_radio if unit == self.from_unit else self.to_radio


class CableRoute(Struct, frozen=True):
    """A way along which a cable runs or could run."""

    between: tuple[str, str]
    state: Literal["laid", "possible"]
    medium: Literal["copper", "fibre"] | None = None
    category: str | None = None
    length_m: float | None = None
    path: CablePath | None = None
    run: OutdoorRun | None = None
    surge_protectors: Protectors | None = None
    through: tuple[Hazard, ...] | None = None
    fire_rating: FireRating | None = None


class ClientGroup(Struct, frozen=True):
    """A number of like devices; rates are for one device."""

    name: str
    count: int
    near: str | None = None
    area: str | None = None
    wired_to: str | None = None
    network: str | None = None
    band: Band | None = None
    streams: int | None = None
    generation: str | None = None
    akms: tuple[Akm, ...] | None = None
    protects_management: bool | None = None
    radar_channels: bool | None = None
    use: Literal["data", "voice", "video", "sensor", "camera"] | None = None
    roams: bool | None = None
    owner: Literal["house", "staff", "guests"] | None = None
    transmit_dbm: float | None = None
    down_mbps: float | None = None
    up_mbps: float | None = None
    active_share: float | None = None
    turns_per_day: float | None = None

    @property
    def pointer(self) -> Pointer:
        """Return where the group stands in the file."""
        return ("clients", self.name)


class Addresses(Struct, frozen=True):
    """How a network lends addresses to its devices."""

    server: str | None = None
    pool: int | None = None
    lease_h: float | None = None


class Network(Struct, frozen=True):
    """A network name on the air, and how it is secured."""

    key: str
    name: str | None = None
    purpose: Literal["staff", "guests", "sensors", "equipment", "public"] | None = None
    vlan: int | None = None
    addresses: Addresses | None = None
    radios: tuple[str, ...] | None = None
    units: tuple[str, ...] | None = None
    akm: Literal["open", "owe", "psk", "psk-sae", "sae", "dot1x"] | None = None
    cipher: Literal["wep", "tkip", "ccmp", "gcmp"] | None = None
    pmf: Literal["disabled", "optional", "required"] | None = None
    secret: str | None = None
    secret_length: int | None = None
    secret_made: Literal["random", "words", "chosen"] | None = None
    secret_words: int | None = None
    push_button: Literal["none", "button", "pin"] | None = None
    neighbour_reports: bool | None = None
    transition_advice: bool | None = None
    fast_transition: bool | None = None

    @property
    def pointer(self) -> Pointer:
        """Return where the network stands in the file."""
        return ("networks", self.key)


class Neighbour(Struct, frozen=True):
    """Somebody else's network, as a scan at one unit heard it."""

    heard_at: str
    band: Band
    channel: int
    level_dbm: float
    width_mhz: int | None = None
    load: float | None = None


class KnownRadar(Struct, frozen=True):
    """A radar that the author knows of."""

    name: str
    place: GeoPlace
    frequency_mhz: float | None = None


class Reading(Struct, frozen=True):
    """Something measured on site: a level near a unit, or the throughput of a link."""

    taken: date | None = None
    when: Literal["quiet", "busy"] | None = None
    unit: str | None = None
    at: Position | None = None
    band: Band | None = None
    level_dbm: float | None = None
    link: str | None = None
    throughput_mbps: float | None = None


class SecretFound(Struct, frozen=True):
    """A place where the file holds what looks like a secret; never the secret itself."""

    pointer: Pointer
    kind: str
    length: int
    line: int | None = None
    """Line of a comment, which has no place among the values."""


class Site(Struct, frozen=True):
    """One installation. Mappings keep the order of the file.

    `model_radios` tells how many radios each model of the catalogue has, used here or not;
    `most_places` is the limit of places of a level that coverage is worked out for.
    """

    about: About
    primary: str
    units: dict[str, Unit]
    internet_lines: dict[str, InternetLine] | None = None
    buildings: dict[str, Building] | None = None
    levels: dict[str, Level] | None = None
    areas: dict[str, Area] | None = None
    backhaul: dict[str, Link] | None = None
    cable_routes: tuple[CableRoute, ...] | None = None
    clients: dict[str, ClientGroup] | None = None
    networks: dict[str, Network] | None = None
    neighbours: tuple[Neighbour, ...] | None = None
    radars: tuple[KnownRadar, ...] | None = None
    readings: tuple[Reading, ...] | None = None
    model_radios: dict[str, int] | None = None
    waivers: tuple[Waiver, ...] = ()
    secrets: tuple[SecretFound, ...] = ()
    most_places: int = LIMITS.places
