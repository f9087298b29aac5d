"""What comes out: usable ground, rows, trees, and the finished planting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from setout.model.base import Bools, Finding, Floats, Geometries, Ints
from setout.model.need import Need
from setout.model.sheet import SheetSettings
from setout.model.site import Ground, Reach, Site
from setout.model.trees import Trees

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from setout.model.irrigation import Irrigation
    from setout.model.light import ColdAir, Light


@dataclass(frozen=True, slots=True)
class Exclusion:
    """Ground taken out for one reason.

    Attributes
    ----------
    reason : as the plan file words it, else a code, said in words in a finished plan
    source : where the features come from
    distance_m : clear distance [m]; NaN where there is none
    alone_m2, newly_m2 : area that it takes alone, and that nothing before it took [m2]
    geometry : polygons in the frame
    whole_cells : how many of the geometry's first parts are outlines of whole cells: to take them to another CRS breaks none
    """

    reason: str
    source: str
    distance_m: float
    alone_m2: float
    newly_m2: float
    geometry: BaseGeometry
    whole_cells: int = 0


@dataclass(frozen=True, slots=True)
class AccountRow:
    """One line of the land account; areas in m2."""

    step: int
    reason: str
    alone_m2: float
    newly_m2: float
    remaining_m2: float


@dataclass(frozen=True, slots=True)
class Usable:
    """Ground left to plant: polygons in the frame by block, what was taken from it, and the account."""

    block: tuple[str, ...]
    geometry: Geometries
    exclusions: tuple[Exclusion, ...]
    height_limits: tuple[Exclusion, ...]
    account: tuple[AccountRow, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Rows:
    """Row lines as planted.

    Attributes
    ----------
    block, row : index of the block, and number of the row (1, 2, ... in walking order)
    x0, y0, x1, y1 : where its line begins and ends for good [m in the frame]
    trees : how many stand in it
    bearing_deg : of straight rows as they were laid, of others from end to end [deg]
    line : its line in the frame, a multiline: it ends where trees end and begins again where they do; where none is
        given, straight from end to end
    """

    block: Ints
    row: Ints
    x0: Floats
    y0: Floats
    x1: Floats
    y1: Floats
    trees: Ints
    bearing_deg: Floats
    line: Geometries = field(default_factory=lambda: np.empty(0, object))

    def __post_init__(self) -> None:
        """Draw rows straight where no lines are given."""
        import shapely

        if len(self.line) != len(self.row):
            ends = np.column_stack([self.x0, self.y0, self.x1, self.y1]).reshape(-1, 1, 2, 2)
            straight = np.asarray(shapely.linestrings(ends), object)
            object.__setattr__(self, "line", np.asarray(shapely.multilinestrings(straight), object))

    @property
    def length_m(self) -> Floats:
        """Return the length of every row, its gaps left out [m]."""
        import shapely

        return np.asarray(shapely.length(self.line), float)


@dataclass(frozen=True, slots=True)
class Works:
    """What is built for a planting beside its trees.

    Attributes
    ----------
    bed, bed_block, bed_row : polygons of raised beds in the frame, index of their block, number of their row
    post_x, post_y : posts [m in the frame]
    post_block, post_row, post_end : index of the block, number of the row, and whether it is an end post
    wire_m : wire to buy by block, index by block [m]
    """

    bed: Geometries = field(default_factory=lambda: np.empty(0, object))
    bed_block: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    bed_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_x: Floats = field(default_factory=lambda: np.empty(0))
    post_y: Floats = field(default_factory=lambda: np.empty(0))
    post_block: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_end: Bools = field(default_factory=lambda: np.empty(0, bool))
    wire_m: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OrderLine:
    """Plants of one kind to order for one block.

    Attributes
    ----------
    species, plant, variety, role, size_class : what to order, as in "apple", "apple, semi-dwarf", "B", "pollinizer",
        "semi-dwarf"
    block : name of the block it is for
    trees : positions that it takes
    spares : plants to order beside, for those that do not take
    out_year : year after planting, or of the calendar, in which it comes out again; 0 for what stays
    """

    species: str
    plant: str
    variety: str
    role: str
    size_class: str
    block: str
    trees: int
    spares: int
    out_year: int = 0

    @property
    def plants(self) -> int:
        """Return how many to order, spares and all."""
        return self.trees + self.spares


@dataclass(frozen=True, slots=True)
class MaterialLine:
    """One material for one block; its size, and what it is for, are said by :mod:`setout.words.materials`.

    Attributes
    ----------
    item : code of :data:`setout.model.buying.MATERIALS`
    quantity, unit : how much, in SI ("m", "m3") or as a number ("each")
    block : name of the block that it is for; empty for the whole site
    words : code of what is said of it, where an item is bought for more than one end; empty for the item's own
    figures : by name, with unit suffix, in SI; what its words ask for
    """

    item: str
    quantity: float
    unit: str
    block: str = ""
    words: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BlockRoom:
    """What a block's spacing gives and asks at maturity; NaN where a size is unknown.

    Attributes
    ----------
    block : index of the block in the site
    trees : how many stand in it
    nearest_m : median distance to the nearest neighbour that is no partner [m]
    spread_m : median spread as kept [m]
    crowding_median : median crowding
    overlap_m : median overlap of those canopies that overlap [m]
    overlap_share : share of the trees whose canopy reaches into a neighbour's
    room_m : median diameter of the room [m]
    pruning_load_median : median pruning load
    hours_per_year : hours of pruning in a year at maturity [h]
    clear_alley_m : clear width between the canopies of two rows [m]; below 0 where they overlap
    meet_year : year after planting in which canopies of neighbours meet; None for never or unknown
    cover_by_year : years after planting, and share of the block's ground under canopy; empty where unknown
    hours_sources : where the rates behind the hours come from
    """

    block: int
    trees: int
    nearest_m: float
    spread_m: float
    crowding_median: float
    overlap_m: float
    overlap_share: float
    room_m: float
    pruning_load_median: float
    hours_per_year: float
    clear_alley_m: float
    meet_year: int | None
    cover_by_year: tuple[tuple[int, float], ...]
    hours_sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GrowthLine:
    """How one plant of one block stands in one year after planting; NaN where it cannot be known.

    Attributes
    ----------
    block, plant : name of the block, and of the plant
    year : years after planting
    trees : how many stand then; 0 once they have come out
    spread_m, height_m : size as it is kept [m]
    clear_alley_m : clear width between the canopies of two rows of the block [m]; below 0 where they overlap
    cover : share of the block's ground under canopy
    need_lpd : water that one of them needs at the peak of that year [l/day]
    """

    block: str
    plant: str
    year: int
    trees: int
    spread_m: float
    height_m: float
    clear_alley_m: float
    cover: float
    need_lpd: float


@dataclass(frozen=True, slots=True)
class WorkLine:
    """Hours of one job in one block in a year at maturity.

    Attributes
    ----------
    block, job : name of the block; one of :data:`setout.tables.chores.JOBS`
    hours : in the year [h]; NaN where they cannot be known
    by_month : January to December [h]; empty where they cannot be known
    sources : where the rates come from
    """

    block: str
    job: str
    hours: float
    by_month: tuple[float, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CostLine:
    """What one block costs, in the grower's own prices.

    Attributes
    ----------
    block : name of the block; empty for what belongs to none
    first : plants and materials that have a price
    yearly : work of a year at maturity; NaN unknown
    missing : what has no price
    """

    block: str
    first: float
    yearly: float
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Planting:
    """The finished plan: what every writer writes from.

    Attributes
    ----------
    site, ground, usable, rows, trees, reach : the stages' results, trees with all that is known of each; reach is None
        without a water section
    findings : everything that falls short or should be known, in order of severity
    irrigation : pipes, zones and what each tree gets; None without a water section
    need : water that the plants need; None without a water section
    growth, work : year by year, and the year's work
    costs, currency : in the grower's prices; empty where there are none
    light : direct sun of the trees; None where it was not reckoned
    cold_air : where cold air gathers and flows; None where it was not looked at
    sheets : paper and scale of the plan sheets
    """

    site: Site
    ground: Ground
    usable: Usable
    rows: Rows
    trees: Trees
    findings: tuple[Finding, ...]
    reach: Reach | None = None
    works: Works = field(default_factory=Works)
    order: tuple[OrderLine, ...] = ()
    materials: tuple[MaterialLine, ...] = ()
    rooms: tuple[BlockRoom, ...] = ()
    irrigation: Irrigation | None = None
    light: Light | None = None
    cold_air: ColdAir | None = None
    sheets: SheetSettings = field(default_factory=SheetSettings)
    growth: tuple[GrowthLine, ...] = ()
    work: tuple[WorkLine, ...] = ()
    costs: tuple[CostLine, ...] = ()
    currency: str = ""
    need: Need | None = None
