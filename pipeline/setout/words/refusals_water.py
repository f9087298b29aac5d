"""What is said of pipes and weather that cannot be used."""

from __future__ import annotations

from typing import Final

from setout.words.refused import Refused

_WHERE: Final = "network of pipes"

REFUSALS: Final[dict[str, Refused]] = {
    "network_heads": Refused("{heads} heads for {sources} sources", _WHERE, "give each source its head", {"heads": 2, "sources": 1}),
    "network_count": Refused(
        "{of:word}: {given} values for {nodes} nodes", _WHERE, example={"of": "pipe_length_m", "given": 4, "nodes": 5}
    ),
    "network_range": Refused(
        "{of:word} is {value:g}",
        _WHERE,
        "give a number from {least:g} to {most:g}",
        {"of": "pipe_length_m", "value": -1.0, "least": 0.0, "most": 1e6},
    ),
    "network_unsettled": Refused(
        "pressures in the network of pipes do not settle (off by {off_m:.3g} m)",
        _WHERE,
        "look for pipes or emitters of unlikely size",
        {"off_m": 0.5},
    ),
    "pipe_from_nowhere": Refused("a pipe hangs from a node that there is not", _WHERE, "give every pipe the one it is fed from"),
    "pipes_in_a_ring": Refused("pipes hang from each other in a ring", _WHERE, "give every pipe the one it is fed from"),
    "weather_without_temperatures": Refused(
        "weather without temperatures", "{file}", "give the lowest and the highest of every day or month", {"file": "climate.csv"}
    ),
}
"""What is said of each code."""
