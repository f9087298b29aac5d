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
    They are cut back by rule, whatever the room. Vines: more than 90 % of the one-year-old wood comes off a mature vine in
    a normal year (M. Smith, 2023 Grape Pruning Primer, Ohio State University, 15 March 2023); 0.9 is used. Canes: every
    cane that has fruited comes off, and each lives two years (Ohio State University Extension, fact sheets HYG-1421 and
    HYG-1431), so of two ages that stand in summer one comes off; 0.5 is used, which is reckoned from that, not printed.
hours a year
    By the rates of ``tables/labour.csv`` (from memory) or the grower's own: for every canopy, by habit, height and load;
    a pair is one canopy.
growth
    Size(age) = full size x (1 - 20^(-age / years to full size)): monomolecular, 95 % of full size in that year
    (a simple curve, from memory), cut off at the size the plant is kept at.
"""

from setout.geometry.places.growth import spread_at
from setout.model import BlockRoom
from setout.stages.room.blocks import Room, room_of
from setout.stages.room.growing import growth_of

__all__ = ["BlockRoom", "Room", "growth_of", "room_of", "spread_at"]
