"""A library of cables so small that it is solved in a moment: a lamp, a rack with two outlets, a nest, four cables."""

from __future__ import annotations

import shutil
from pathlib import Path

from stations import ROOT

_RACK = """* rack: 12 V at pin 1, 24 V at pin 3
.subckt rack p n0 acc id
VP src n0 DC 12
RP src p 1
VA up n0 DC 24
RA up acc 1
RI id n0 10Meg
.ends
"""
_NEST = """* nest: stands in for the rack; the bench supply feeds it
.subckt nest p n0 acc id
RH p n0 10k
RC acc n0 10Meg
RI id n0 10Meg
.ends
"""
_LAMP = """* lamp: one resistor between the feed and a rail
.subckt lamp p n acc id
R1 p rail 350
R2 rail n 250
R3 id n 10Meg
R4 acc n 10Meg
.ends
"""
_PLAIN, _FEED = 'role = "plain"', 'role = "feed", rating = { power = "250 mW" }'
_FIXTURE = """takes = ["lamp"]
cable = "lamp-lead"
circuit = "nest"
identify = "id"
discharge = { scanner = 31, resistor = "100 ohm" }
power = { from = "supply", into = "host.1-host.2", soft_start = ["5 V", "12 V"] }

[points.feed]
plus = "host.1"
minus = "host.2"
scanner = 1
contact = [11, 21]

[points.id]
plus = "host.4"
minus = "host.2"
scanner = 3
contact = [13, 21]
"""


def _parts(circuit: str, netlist: str, first_part: str) -> str:
    """Every part of a netlist: the first as it is written here, the others plain; pins as the netlist has them."""
    lines = [line.split() for line in netlist.splitlines() if line[0] not in "*."]
    pins = next(line for line in netlist.splitlines() if line.startswith(".subckt")).split()[2:]
    said = [f'circuit = "{circuit}"', f'connector = {{ kind = "plug", pins = {pins} }}'.replace("'", '"')]
    said += [f"part.{name} = {{ {first_part if at == 0 else _PLAIN} }}" for at, (name, *_) in enumerate(lines)]
    return "\n".join(said) + "\n"


def _cable(takes: str, hosts: str, ohms: str, feed: int) -> str:
    return f"""takes = ["{takes}"]
hosts = [{hosts}]
owner = "gärtnerei"
matings = {{ rated = 100, used = 100 }}
length = "2 m"
per_metre = "80 mohm/m"
contact = "10 mohm"
id_resistor = {{ value = "{ohms}", tolerance = "1 %", pins = [4, 2] }}
wires = [{{ board = 1, host = {feed}, colour = "BN" }}, {{ board = 2, host = 2, colour = "BU" }}]
"""


def write_small_library(root: Path) -> None:
    """Write it into a project's folder.

    lamp-lead is right; hot-lead feeds the lamp from 24 V and has its own id; twin-lead is lamp-lead all over again.
    """
    (root / "fixtures" / "benches").mkdir(parents=True)
    shutil.copy(ROOT / "fixtures" / "benches" / "lan.toml", root / "fixtures" / "benches")
    circuits, cables = root / "fixtures" / "circuits", root / "fixtures" / "cables"
    circuits.mkdir()
    cables.mkdir()
    for name, netlist, first_part in (("rack", _RACK, _PLAIN), ("nest", _NEST, _PLAIN), ("lamp", _LAMP, _FEED)):
        (circuits / f"{name}.cir").write_text(netlist)
        (circuits / f"{name}.parts.toml").write_text(_parts(name, netlist, first_part))
    (cables / "lamp-lead.toml").write_text(_cable("lamp", '"rack"', "1 kohm", 1).replace("used = 100", "used = 3"))
    (cables / "hot-lead.toml").write_text(_cable("lamp", "", "2.2 kohm", 3))
    (cables / "twin-lead.toml").write_text(_cable("lamp", "", "1 kohm", 1))
    (root / "fixtures" / "lamp-nest.toml").write_text(_FIXTURE)
