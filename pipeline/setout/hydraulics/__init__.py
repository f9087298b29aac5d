"""Pure hydraulics of pipes and emitters: friction, emission, networks without loops. Arrays in, arrays out.

Heads and elevations are metres of water, lengths metres, inside diameters millimetres, flows litres per hour, pressures
kilopascals at the door. Plain handbook formulas; a network that is built needs an engineer's own check.
"""
