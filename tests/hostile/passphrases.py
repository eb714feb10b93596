"""Eighty places of a site file where a passphrase may come to stand by mistake.

A name of each place, and the site with `@` where the passphrase is put. Half of them stand under
`networks`, where secrets are thought of; the others are slips of the hand, a line too high or too
low. Each makes a file that is refused, but for waivers, of which findings tell.
"""

from __future__ import annotations

_HEAD = """\
meshlint: 1
site: {name: Brook Street, country: GB, surroundings: office}
primary: desk
units:
  desk: {kind: access, radios: {mid: {band: 5, channel: 36, width_mhz: 40, carries: [clients]}}}
  hall: {kind: access}
backhaul: {hall to desk: {from: hall, to: desk, over: cable}}
"""

_NETWORK = {
    "name, a list": "name: ['@']",
    "name, a map": "name: {is: '@'}",
    "name, too long": "name: 'Quillbeck Staff and the passphrase @'",
    "for": "for: '@'",
    "vlan": "vlan: '@'",
    "addresses": "addresses: '@'",
    "addresses, a list": "addresses: ['@']",
    "addresses/from": "addresses: {from: '@'}",
    "addresses/pool": "addresses: {pool: '@'}",
    "addresses/lease_h": "addresses: {lease_h: '@'}",
    "addresses, an unknown key": "addresses: {passphrase: '@'}",
    "addresses, as a key": "addresses: {'@': 1}",
    "radios": "radios: '@'",
    "radios, an entry": "radios: ['@']",
    "radios, next to a sound one": "radios: [mid, '@']",
    "units": "units: '@'",
    "units, an entry": "units: ['@']",
    "units, twice": "units: ['@', '@']",
    "akm": "akm: '@'",
    "akm, a list": "akm: [psk, '@']",
    "akm, after its word": "akm: 'psk @'",
    "cipher": "cipher: '@'",
    "pmf": "pmf: '@'",
    "secret, a list": "secret: ['@']",
    "secret, a map": "secret: {value: '@'}",
    "secret_length": "secret_length: '@'",
    "secret_made": "secret_made: '@'",
    "secret_made, after its word": "secret_made: 'random @'",
    "secret_words": "secret_words: '@'",
    "push_button": "push_button: '@'",
    "neighbour_reports": "neighbour_reports: '@'",
    "transition_advice": "transition_advice: '@'",
    "fast_transition": "fast_transition: '@'",
    "passphrase, a list": "passphrase: ['@']",
    "psk, a map": "psk: {is: '@'}",
    "an unknown key of its own": "wifi_secret: '@'",
    "as a key": "'@': true",
    "after an unknown key": "'passphrase @': true",
    "key without a blank": "secret:@: true",
}
_SECTION = {
    "the network itself": "networks: {staff: '@'}",
    "the section itself": "networks: '@'",
    "a list of networks": "networks: ['@']",
    "a list of lists": "networks: {staff: ['@']}",
    "a tag": "networks: {staff: {secret: !@ x}}",
    "an alias": "networks: {staff: {secret: *@}}",
    "not closed": "networks: {staff: {akm: psk, @",
    "after a quoted text": "networks: {staff: {akm: 'psk' @}}",
}
_ELSEWHERE = {
    "country": ("country: GB", "country: '@'"),
    "surroundings": ("surroundings: office", "surroundings: '@'"),
    "class, a list": ("surroundings: office", "class: ['@']"),
    "place": ("surroundings: office", "place: '@'"),
    "site, an unknown key": ("surroundings: office", "wifi: '@'"),
    "site, as a key": ("surroundings: office", "'@': 1"),
    "site itself": ("site: {name: Brook Street, country: GB, surroundings: office}", "site: '@'"),
    "primary": ("primary: desk", "primary: '@'"),
    "version": ("meshlint: 1", "meshlint: '@'"),
    "kind": ("hall: {kind: access}", "hall: {kind: '@'}"),
    "model": ("hall: {kind: access}", "hall: {model: '@'}\nmodels: {tri: {}}"),
    "unit itself": ("hall: {kind: access}", "hall: '@'"),
    "powered from": ("hall: {kind: access}", "hall: {powered: {by: cable, from: '@'}}"),
    "management_from": ("hall: {kind: access}", "hall: {management_from: ['@']}"),
    "level": ("hall: {kind: access}", "hall: {at: {level: '@', x_m: 1, y_m: 1}}"),
    "band": ("band: 5", "band: '@'"),
    "channel": ("channel: 36", "channel: '@'"),
    "width_mhz": ("width_mhz: 40", "width_mhz: '@'"),
    "carries": ("carries: [clients]", "carries: ['@']"),
    "radio, as a key": ("channel: 36", "'@': 36"),
    "over": ("over: cable", "over: '@'"),
    "to": ("to: desk", "to: '@'"),
    "category": ("over: cable", "over: cable, category: '@'"),
    "vlans": ("over: cable", "over: cable, vlans: ['@']"),
    "clients, network": ("backhaul:", "clients: {all: {count: 2, network: '@'}}\nbackhaul:"),
    "clients, near": ("backhaul:", "clients: {all: {count: 2, near: '@'}}\nbackhaul:"),
    "clients, akms": ("backhaul:", "clients: {all: {count: 2, akms: ['@']}}\nbackhaul:"),
    "waivers, until": ("backhaul:", "waivers: [{rule: hop-depth, until: '@'}]\nbackhaul:"),
    "waivers, rule": ("backhaul:", "waivers: [{rule: '@', subject: site}]\nbackhaul:"),
    "waivers, subject": ("backhaul:", "waivers: [{rule: hop-depth, subject: '@'}]\nbackhaul:"),
    "catalogue": ("primary:", "catalogue: '@'\nprimary:"),
    "top, as a key": ("primary:", "'@': x\nprimary:"),
    "a key twice": ("primary:", "'@': x\n'@': y\nprimary:"),
}


def places() -> dict[str, tuple[bool, str]]:
    """Return by name: whether the place is under `networks`, and the site with its `@`."""
    found = {f"networks/staff/{name}": (True, f"{_HEAD}networks: {{staff: {{{text}}}}}\n")
             for name, text in _NETWORK.items()}  # fmt: skip
    found |= {f"networks, {name}": (True, f"{_HEAD}{text}\n") for name, text in _SECTION.items()}
    for name, (before, after) in _ELSEWHERE.items():
        assert before in _HEAD, name
        found[name] = False, _HEAD.replace(before, after, 1)
    return found
