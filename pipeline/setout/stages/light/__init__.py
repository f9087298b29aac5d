"""Light: direct sun on every tree's canopy, what directions and screens do, and where it falls short.

What is reckoned
----------------
canopy
    An ellipsoid from the ground to the tree's height, as wide as its spread, filled below its widest place. Plants of a
    hedgerow, trellis or screen whose canopies touch are one continuous wall, as wide as their spread (on a trellis
    1.2 m, common practice) and as high as they are.
points
    Light is the mean of five points: one in the middle at three quarters of the height, and four at half the height,
    halfway from the trunk to the rim, to the east, west, north and south. The tree's own canopy does not count.
sides
    A wall has its light on two sides, looked at from five heights. Each side sees its own half of the sky, for the wall
    itself is in the way of the other. Its hours count by how squarely the sun meets the side (the cosine of incidence), both
    sides together: grazing sun at noon does little for a row along it, which is why rows north and south take more light in
    the season than rows east and west (Jackson and Palmer 1972; Olesen, Morris and McFadyen 2007), while the hours in which
    some sun reaches a side are more on rows east and west.
fillers
    Plants that stay are judged at full size without those that come out; each of these in the last year in which it
    stands, beside the others as large as they are by then.
overlap
    Canopies that overlap meet at the plane between the trunks that divides their distance by the radii. Points of a
    pair's partners stay on their own side of it.
hours
    Time with the sun's middle above a level horizon and above all that stands in the way, without refraction. Noon is
    the sun's transit. Bodies further off than where their top stands 4 degrees high are left out.
open hours
    The same with the terrain alone in the way.
full sun
    At least six hours of direct sun a day (common practice: six to eight for fruit trees); of a wall, whose sides meet sun
    from all round at a mean cosine of a half, three of its own.
"""

from setout.stages.light.doubts import light_findings
from setout.stages.light.land import land_horizon
from setout.stages.light.others import others_of
from setout.stages.light.pairs import axis_findings, pair_axes, with_axes
from setout.stages.light.sample import light_on
from setout.stages.light.screens import screen_findings, screen_shades
from setout.stages.light.trees import Sky, trees_light
from setout.stages.light.turned import directions

__all__ = [
    "Sky",
    "axis_findings",
    "directions",
    "land_horizon",
    "light_findings",
    "light_on",
    "others_of",
    "pair_axes",
    "screen_findings",
    "screen_shades",
    "trees_light",
    "with_axes",
]
