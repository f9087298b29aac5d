"""Room: what a spacing means for the trees that stand in it, and for those who look after them.

What is measured
----------------
Plants that stay are judged among their like, without fillers; a filler in the last year in which it stands, beside the
others as large as they are by then. Figures of a block are those of the plants that stay.

Sizes are mature sizes: ``spread`` as the grower keeps the plant, ``natural spread`` as it grows where it is left alone
(the same where the catalogue or the plan names no other). A canopy is a circle in plan.

crowding
    Spread over the distance to the true nearest neighbour; a partner in the same pair is no neighbour.
overlap
    How far a canopy reaches into the neighbour that it overlaps most: half the sum of the two spreads less their
    distance.
room
    The part of the plane that is nearer to a tree than to any neighbour (bounded by the bisectors), and no further
    from it than half the spread it is kept at. Partners of a pair count as one canopy, and fillers do not bound those
    that outlast them (they are gone by then). ``room_m`` is the diameter of the circle with the area of the room.
pruning load
    The share of the free-grown canopy, the circle of natural spread, that lies outside the room and has to come off:
    1 - room / circle, so 1 - (room_m / natural spread)^2. It is 0 where neighbours stand a natural spread away and the
    plant is not kept smaller, never falls as the spacing shrinks, and is 1 in the limit.
pruning load in a row
    In a hedgerow, screen, trellis or bed the plants of one row are meant to grow into each other. Only growth across
    the row counts: the canopy may reach along its row as far as it grows, no further to the side than half the spread
    it is kept at, and no further than the bisectors with plants of other rows.
pruning load of vines and canes
    They are cut back by rule, whatever the room. Vines: 90 to 95 % of the new growth comes off each winter (common
    practice); 0.925 is used. Canes: every cane that has fruited comes off (common practice), about half of what
    stands; 0.5 is used (from memory).
class of pruning
    none (load up to 0.005), light (to 0.15), moderate (to 0.4), heavy (to 0.7), very heavy: bounds of this project,
    set so that semi-dwarf trees at half their usual 16 ft come out as heavy, as growers call it.
hours a year
    Number of canopies times the rate of ``tables/labour.csv`` by habit, height and class (from memory), or the
    grower's own; a pair is one canopy.
growth
    Size(age) = full size x (1 - 20^(-age / years to full size)): monomolecular, 95 % of full size in that year
    (a simple curve, from memory), cut off at the size the plant is kept at.
"""

from setout.geometry.growth import spread_at
from setout.nouns import BlockRoom
from setout.stages.room.blocks import Room, room_of
from setout.stages.room.growing import growth_of
from setout.stages.room.words import plain_words

__all__ = ["BlockRoom", "Room", "growth_of", "plain_words", "room_of", "spread_at"]
