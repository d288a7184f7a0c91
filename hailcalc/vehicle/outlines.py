"""A generic outline of every panel of every body style, with the zones that make work harder.

The drawings are our own, made from plain proportions as a technician would sketch a panel:
they are generic and follow no maker's drawing. Curved panels are drawn laid flat (a decklid
with its rear face below the crease); windows are left out, so a liftgate is a U. Which places
of a panel are braced, closed to tools or hard to work is common practice, no source.

A drawing is a path in thousandths of the panel's box; a table says what share of the
vehicle's length, width or height that box has. Everything stays an exact fraction until the
one rounding to whole millimetres at the end. Wheel arches are round at the body's typical
size, and stretch with a vehicle of other proportions.

Coordinates are millimetres from the lower left corner of the panel's box, x to the right,
y up, the panel seen from outside. Hood, roof and decklid: from above, the vehicle's front up.
Liftgate and tailgate: from behind. Panels of a side: from that side, so the front is on the
left of a left panel and on the right of a right one, which is the left one mirrored.

A zone that reaches its panel's border runs along the very points of the outline; any other
keeps clear of it by more than rounding can move it. So zones stay inside at every size
that a claim's vehicle may have.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NamedTuple

from hailcalc.money import rounded
from hailcalc.vehicle.panels import PANELS, PANELS_OF_BODY, ZoneKind

ZoneForm = Literal["area", "line", "border"]
Point = tuple[int, int]
_Exact = tuple[Fraction, Fraction]


class Zone(NamedTuple):
    """A place of a panel where a dent gets a mark.

    area: a ring without the closing point, counter-clockwise. line: a polyline, which marks
    within `reach_mm`. border: no points, the strip of `reach_mm` along the outline.
    """

    kind: ZoneKind
    form: ZoneForm
    points: tuple[Point, ...]
    reach_mm: int


class Outline(NamedTuple):
    """A panel's outline in millimetres: a ring counter-clockwise, without the closing point."""

    panel: str
    ring: tuple[Point, ...]
    zones: tuple[Zone, ...]


class Size(NamedTuple):
    """Overall size of a vehicle, without mirrors."""

    length_mm: int
    width_mm: int
    height_mm: int


TYPICAL_SIZE: dict[str, Size] = {
    "sedan": Size(4750, 1820, 1450),
    "coupe": Size(4600, 1840, 1370),
    "hatch": Size(4250, 1790, 1470),
    "wagon": Size(4750, 1830, 1490),
    "suv": Size(4650, 1870, 1690),
    "pickup": Size(5500, 1950, 1850),
    "van": Size(5100, 1960, 1950),
    "convertible": Size(4450, 1820, 1330),
}
"""Overall size where the vehicle's own is not known (common practice, no source)."""

AREA_RANGES: dict[str, tuple[float, float]] = {
    # Nearly as wide as the vehicle (1.4–1.7 m), from windscreen to lamps 0.8–1.3 m.
    "hood": (1.0, 2.2),
    # A short nose.
    "van hood": (0.8, 1.7),
    # Between the rails 1.0–1.3 m wide, from windscreen to rear window 1.2–2.3 m.
    "roof": (1.1, 2.9),
    # Longer, over three rows or a load space.
    "van roof": (2.7, 5.5),
    # 1.1–1.4 m wide; half a metre of top and a quarter of rear face, narrower between the lamps.
    "decklid": (0.6, 1.3),
    # The metal alone: 1.2–1.5 m wide, 0.4–0.6 m below the window, two narrow posts.
    "liftgate": (0.4, 1.0),
    # Twice as high as a car's.
    "van liftgate": (0.6, 1.5),
    # A board of 1.3–1.6 m by 0.45–0.6 m.
    "tailgate": (0.55, 1.0),
    # 0.9–1.3 m long and 0.6–0.9 m high, of which arch, lamp and bumper leave about half.
    "fender": (0.25, 0.65),
    # Below the window 0.95–1.2 m long and 0.6–0.9 m high.
    "door-front": (0.5, 1.15),
    # The only door of its side: longer.
    "coupe door-front": (0.7, 1.2),
    "convertible door-front": (0.6, 1.2),
    # As the front door, or shorter, less the wheel arch.
    "door-rear": (0.4, 1.0),
    # A sliding door: long, and hardly cut by the wheel.
    "van door-rear": (0.7, 1.3),
    # About 1–1.8 m long; half of a box of 1–1.5 m height, for arch, window and lamp.
    "quarter": (0.45, 1.3),
    # A strip of 6–12 cm along 1.6–3.5 m.
    "rail": (0.1, 0.45),
    # 1.5–2 m by 0.6–0.8 m, less half a wheel arch of 0.4 m radius and the lamp.
    "bedside": (0.65, 1.3),
    # 0.15–0.3 m by the height of the cab.
    "cab-corner": (0.12, 0.4),
}
"""Plausible areas in square metres, lowest and highest, by kind of panel, or body and kind.

Thought out from the lengths beside each (common practice, no source)."""


# --- paths, in thousandths of the box -----------------------------------------------------


class _Bend(NamedTuple):
    """A curve from where the path is to (x, y), drawn towards (pull_x, pull_y) (quadratic)."""

    pull_x: int
    pull_y: int
    x: int
    y: int


class _Arc(NamedTuple):
    """Part of a circle; the radius in thousandths of the box's width, angles in degrees.

    Angles are multiples of 15, counter-clockwise from the right.
    """

    x: int
    y: int
    radius: int
    first: int
    last: int


_Step = tuple[int, int] | _Bend | _Arc
_Path = tuple[_Step, ...]

_BEND_PIECES = 6
_ARC_STEP = 15
_COSINES = (1000, 966, 866, 707, 500, 259, 0)
"""Thousandths of the cosines of 0, 15 … 90 degrees: fine enough, and whole numbers."""


class _Zone(NamedTuple):
    kind: ZoneKind
    form: ZoneForm
    path: _Path
    reach_mm: int = 0


class _Drawing(NamedTuple):
    path: _Path
    zones: tuple[_Zone, ...]


def _area(kind: ZoneKind, *path: _Step) -> _Zone:
    return _Zone(kind, "area", path)


def _block(kind: ZoneKind, left: int, bottom: int, right: int, top: int) -> _Zone:
    return _area(kind, (left, bottom), (right, bottom), (right, top), (left, top))


def _edge(reach_mm: int) -> _Zone:
    return _Zone("edge", "border", (), reach_mm)


def _body_line(*path: _Step) -> _Zone:
    return _Zone("body-line", "line", path, 3)


def _on_both_sides(*zones: _Zone) -> tuple[_Zone, ...]:
    """The zones of a right half and the same ones mirrored to the left half."""
    return tuple(
        side
        for zone in zones
        for side in (zone, zone._replace(path=tuple(_mirrored_step(step) for step in zone.path)))
    )


def _mirrored_step(step: _Step) -> _Step:
    if isinstance(step, _Bend):
        return _Bend(1000 - step.pull_x, step.pull_y, 1000 - step.x, step.y)
    if isinstance(step, _Arc):
        return step._replace(x=1000 - step.x, first=180 - step.first, last=180 - step.last)
    return (1000 - step[0], step[1])


def _over_arch(x: int, y: int, radius: int, height: int) -> _Zone:
    """The closed strip over a wheel arch, where the inner wheelhouse is joined."""
    inner = _Arc(x, y, radius, 120, 60)
    return _area("glue-only", inner, _Arc(x, y, radius + height, 60, 120))


# --- panels seen from above or from behind ------------------------------------------------

_HOOD = _Drawing(
    path=(
        (20, 0), (160, 40), _Bend(500, 95, 840, 40), (980, 0), (1000, 35), (995, 180),
        _Bend(985, 560, 935, 800), _Bend(905, 915, 790, 955), _Bend(650, 1000, 500, 1000),
        _Bend(350, 1000, 210, 955), _Bend(95, 915, 65, 800), _Bend(15, 560, 5, 180), (0, 35),
    ),
    zones=(
        # The inner frame: a rib behind the nose, one before the cowl, two pairs lengthwise.
        _area("braced", (150, 800), (850, 800), (835, 850), (165, 850)),
        _area("braced", (95, 170), (905, 170), (900, 225), (100, 225)),
        *_on_both_sides(
            _area("braced", (640, 225), (695, 225), (610, 800), (560, 800)),
            _area("braced", (855, 225), (900, 225), (850, 800), (805, 800)),
            # Hinge corners: the frame is closed there.
            _area("glue-only", (840, 40), (980, 0), (1000, 35), (995, 180), (840, 150)),
            _body_line((755, 90), (745, 350), (690, 880)),
        ),
        # The latch's reinforcement.
        _block("glue-only", 410, 875, 590, 970),
        _edge(25),
    ),
)  # fmt: skip


def _roof(bulge: int, width: int, *bows: int) -> _Drawing:
    """A roof whose ends bulge so far, with cross bows of this width at these heights."""
    rear, front = bulge + 45, 955 - bulge
    return _Drawing(
        path=(
            (80, bulge), _Bend(500, -bulge, 920, bulge), _Bend(990, bulge + 5, 1000, rear),
            (1000, 500), (985, front), _Bend(975, 995 - bulge, 910, 1000 - bulge),
            _Bend(500, 1000 + bulge, 90, 1000 - bulge), _Bend(25, 995 - bulge, 15, front),
            (0, 500), (0, rear), _Bend(10, bulge + 5, 80, bulge),
        ),
        zones=(
            *(_block("braced", 100, bow, 900, bow + width) for bow in bows),
            # Welded to the side frame: no room for a tool.
            *_on_both_sides(
                _area("glue-only", (1000, rear), (1000, 500), (985, front),
                      (930, front), (940, 500), (940, rear)),
            ),
            _edge(20),
        ),
    )  # fmt: skip


_DECKLID = _Drawing(
    path=(
        (200, 0), (800, 0), _Bend(830, 0, 838, 50), (860, 270), _Bend(865, 315, 920, 325),
        (985, 335), (1000, 390), (985, 700), (960, 950), _Bend(950, 1000, 900, 990),
        _Bend(500, 900, 100, 990), _Bend(50, 1000, 40, 950), (15, 700), (0, 390), (15, 335),
        (80, 325), _Bend(135, 315, 140, 270), (162, 50), _Bend(170, 0, 200, 0),
    ),
    zones=(
        _block("braced", 100, 620, 900, 670),
        *_on_both_sides(
            _area("braced", (640, 440), (700, 440), (800, 620), (740, 620)),
            _area("glue-only", (985, 700), (960, 950), (860, 930), (860, 700)),
            _area("braced", (740, 60), (790, 60), (800, 290), (750, 290)),
        ),
        # The lock.
        _area("glue-only", (400, 0), (600, 0), (600, 110), (400, 110)),
        # The crease from the top to the rear face.
        _body_line((40, 375), _Bend(500, 345, 960, 375)),
        _edge(20),
    ),
)  # fmt: skip


def _liftgate(belt: int) -> _Drawing:
    """A liftgate whose window begins at the height `belt`."""
    return _Drawing(
        path=(
            (70, 0), (930, 0), _Bend(980, 0, 985, 60), (1000, belt - 60), (985, belt + 60),
            (915, 1000), (830, 1000), (880, belt + 60), _Bend(885, belt, 820, belt),
            (500, belt - 15), (180, belt), _Bend(115, belt, 120, belt + 60), (170, 1000),
            (85, 1000), (15, belt + 60), (0, belt - 60), (15, 60), _Bend(20, 0, 70, 0),
        ),
        zones=(
            # The beam under the window and the uprights down to the sill.
            _block("braced", 120, belt - 90, 880, belt - 50),
            *_on_both_sides(
                _block("braced", 790, 100, 850, belt - 90),
                # The posts are closed tubes.
                _area("glue-only", (985, belt + 60), (915, 1000), (830, 1000), (880, belt + 60)),
            ),
            # The lock.
            _block("glue-only", 390, 0, 610, 80),
            _body_line((30, belt * 55 // 100), (500, belt * 51 // 100), (970, belt * 55 // 100)),
            _edge(20),
        ),
    )  # fmt: skip


_TAILGATE = _Drawing(
    path=(
        (30, 0), (970, 0), _Bend(1000, 0, 1000, 90), (1000, 560), (1000, 860),
        _Bend(1000, 1000, 960, 1000), (40, 1000), _Bend(0, 1000, 0, 860), (0, 560), (0, 90),
        _Bend(0, 0, 30, 0),
    ),
    zones=(
        # The rolled upper rim, two uprights.
        _block("braced", 100, 850, 900, 930),
        *_on_both_sides(
            _block("braced", 660, 90, 710, 850),
            # The latches.
            _block("glue-only", 920, 560, 1000, 860),
        ),
        # The handle's pocket.
        _block("glue-only", 410, 600, 590, 830),
        _body_line((40, 300), (960, 300)),
        _body_line((40, 780), (390, 780)),
        _body_line((610, 780), (960, 780)),
        _edge(20),
    ),
)  # fmt: skip


# --- panels of the left side: the front is on the left ------------------------------------


def _fender(x: int, y: int, radius: int) -> _Drawing:
    """A fender over a wheel arch with this centre and radius."""
    return _Drawing(
        path=(
            (x + radius + 12, 0), (1000, 0), (1000, 760), (985, 1000), (930, 1000),
            _Bend(430, 985, 0, 790), _Bend(110, 740, 165, 590), (110, 420),
            _Arc(x, y, radius, 150, 0),
        ),
        zones=(
            _over_arch(x, y, radius, 55),
            # Where it is bolted to the pillar, behind the wheel.
            _block("glue-only", 925, 110, 1000, 330),
            _body_line((190, 745), _Bend(560, 830, 975, 850)),
            _edge(20),
        ),
    )  # fmt: skip


_LOCK_END: _Path = ((994, 430), (1000, 620), (996, 800))


def _front_door(lock: int) -> _Drawing:
    """A front door below the window; its lock's closed place reaches forward to `lock`."""
    return _Drawing(
        path=(
            (80, 0), (940, 0), _Bend(975, 0, 980, 60), *_LOCK_END, (988, 1000),
            _Bend(500, 985, 0, 930), (22, 500), (20, 80), _Bend(20, 0, 80, 0),
        ),
        zones=(
            # The impact beam, front to rear.
            _area("braced", (70, 420), (930, 240), (930, 310), (70, 490)),
            _area("glue-only", *_LOCK_END, (lock, 800), (lock, 430)),
            _block("glue-only", 80, 0, 940, 60),
            _body_line((40, 690), _Bend(500, 735, 980, 750)),
            _edge(20),
        ),
    )  # fmt: skip


def _rear_door(arch_x: int, arch_y: int, radius: int) -> _Drawing:
    """A rear door cut by a wheel arch; the cut ends at the door's rear edge."""
    foot = arch_x - radius
    return _Drawing(
        path=(
            (75, 0), (foot - 40, 0), _Bend(foot, 0, foot, arch_y // 2), (foot, arch_y),
            _Arc(arch_x, arch_y, radius, 180, 120), (1000, 740), (996, 860), (980, 1000),
            _Bend(500, 1000, 5, 980), (0, 500), (10, 80), _Bend(15, 0, 75, 0),
        ),
        zones=(
            _area("braced", (60, 400), (foot - 35, 270), (foot - 35, 340), (60, 470)),
            _area("glue-only", (1000, 740), (996, 860), (870, 860), (870, 740)),
            _block("glue-only", 75, 0, foot - 40, 60),
            _body_line((40, 790), _Bend(500, 815, 960, 820)),
            _edge(20),
        ),
    )  # fmt: skip


_SLIDING_DOOR = _Drawing(
    path=(
        (60, 0), (860, 0), _Bend(905, 0, 930, 90), _Bend(955, 200, 1000, 260), (1000, 480),
        (1000, 760), (992, 1000), (8, 1000), (0, 760), (0, 70), _Bend(0, 0, 60, 0),
    ),
    zones=(
        _area("braced", (60, 320), (900, 320), (900, 385), (60, 385)),
        _block("glue-only", 910, 480, 1000, 760),
        _block("glue-only", 60, 0, 860, 60),
        _body_line((40, 700), (960, 700)),
        _edge(20),
    ),
)  # fmt: skip

_CAB_DOOR = _Drawing(
    path=(
        (70, 0), (760, 0), _Bend(830, 0, 865, 90), _Bend(915, 260, 985, 400), (1000, 560),
        (1000, 800), (990, 1000), (10, 1000), (0, 500), (5, 80), _Bend(5, 0, 70, 0),
    ),
    zones=(
        _area("braced", (60, 330), (830, 250), (830, 320), (60, 400)),
        _block("glue-only", 890, 560, 1000, 800),
        _block("glue-only", 70, 0, 760, 60),
        _body_line((40, 710), (960, 725)),
        _edge(20),
    ),
)  # fmt: skip

_SEDAN_QUARTER = _Drawing(
    path=(
        (48, 0), (92, 0), _Arc(351, 80, 253, 180, 30), (720, 300), (925, 330),
        (940, 460), (850, 470), _Bend(800, 480, 800, 555), _Bend(800, 615, 850, 620), (1000, 620),
        (995, 670), _Bend(985, 690, 940, 692), (560, 700), _Bend(400, 930, 190, 1000),
        (0, 1000), _Bend(130, 850, 187, 610), _Arc(351, 80, 303, 120, 180),
    ),
    zones=(
        _over_arch(351, 80, 253, 45),
        # The pillar is a closed box.
        _area("glue-only", (560, 700), _Bend(400, 930, 190, 1000), (0, 1000),
              _Bend(130, 850, 187, 610)),
        _block("braced", 640, 360, 680, 660),
        _body_line((220, 570), _Bend(500, 610, 770, 590)),
        _edge(20),
    ),
)  # fmt: skip

_HATCH_QUARTER = _Drawing(
    path=(
        (0, 0), (60, 0), _Arc(398, 80, 329, 180, 30), (790, 290), (925, 320), (945, 450),
        (860, 460), _Bend(800, 470, 800, 560), _Bend(800, 650, 850, 660), (1000, 655),
        _Bend(960, 735, 905, 800), _Bend(815, 910, 700, 1000), (240, 1000),
        _Bend(280, 800, 199, 610), _Arc(398, 80, 398, 120, 180),
    ),
    zones=(
        _over_arch(398, 80, 329, 50),
        _area("glue-only", (905, 800), _Bend(815, 910, 700, 1000), (240, 1000),
              _Bend(280, 800, 199, 610)),
        _block("braced", 730, 330, 775, 640),
        _body_line((230, 560), _Bend(500, 600, 775, 585)),
        _edge(20),
    ),
)  # fmt: skip

_COUPE_QUARTER = _Drawing(
    path=(
        (0, 0), (290, 0), _Arc(506, 80, 202, 180, 30), (790, 300), (940, 330),
        (955, 450), (885, 460), _Bend(850, 465, 850, 540), _Bend(850, 605, 885, 610), (1000, 610),
        (996, 660), _Bend(990, 685, 950, 690), (720, 715), _Bend(600, 910, 400, 1000),
        (220, 1000), _Bend(350, 870, 400, 690), (330, 665), (25, 640), (12, 300),
    ),
    zones=(
        _over_arch(506, 80, 202, 35),
        _area("glue-only", (720, 715), _Bend(600, 910, 400, 1000), (220, 1000),
              _Bend(350, 870, 400, 690)),
        _area("glue-only", (12, 300), (110, 300), (110, 640), (25, 640)),
        _block("braced", 735, 350, 765, 660),
        _body_line((50, 560), _Bend(500, 610, 830, 585)),
        _edge(20),
    ),
)  # fmt: skip

_OPEN_QUARTER = _Drawing(
    path=(
        (0, 0), (290, 0), _Arc(506, 110, 206, 180, 30), (790, 430), (940, 470),
        (955, 650), (885, 660), _Bend(850, 670, 850, 770), _Bend(850, 865, 885, 870), (1000, 870),
        (996, 945), _Bend(990, 975, 950, 980), (620, 1000), (300, 1000), (30, 970), (12, 450),
    ),
    zones=(
        _over_arch(506, 110, 206, 40),
        _block("glue-only", 300, 880, 620, 1000),
        _block("braced", 735, 500, 765, 950),
        _body_line((50, 800), _Bend(500, 860, 830, 840)),
        _edge(20),
    ),
)  # fmt: skip


def _quarter_with_window(x: int, radius: int) -> _Drawing:
    """Wagon-like: the side window between the rear door and a post at the liftgate."""
    return _Drawing(
        path=(
            (0, 0), (x - radius - 5, 0), _Arc(x, 80, radius, 180, 30), (720, 290), (930, 320),
            (945, 430), (880, 440), _Bend(845, 445, 845, 520), _Bend(845, 640, 885, 655),
            (1000, 660), _Bend(960, 830, 870, 1000), (690, 1000), (750, 690),
            _Bend(755, 640, 700, 635), (x // 2, 610), _Arc(x, 80, x, 120, 180),
        ),
        zones=(
            _over_arch(x, 80, radius, 45),
            _area("glue-only", (1000, 660), _Bend(960, 830, 870, 1000), (690, 1000), (750, 690)),
            _block("braced", 660, 330, 700, 590),
            _body_line((x // 2 + 30, 520), _Bend(500, 550, 825, 540)),
            _edge(20),
        ),
    )  # fmt: skip


_RAIL = _Drawing(
    path=(
        (0, 0), (34, 0), _Bend(200, 560, 400, 680), _Bend(520, 730, 640, 690),
        _Bend(840, 600, 966, 0), (1000, 0), _Bend(880, 880, 640, 990), _Bend(520, 1010, 400, 990),
        _Bend(170, 880, 0, 0),
    ),
    zones=(
        # Towards the windscreen and the rear window the rail is a closed tube.
        _area("glue-only", (0, 0), (34, 0), _Bend(200, 560, 400, 680), (400, 990),
              _Bend(170, 880, 0, 0)),
        _area("glue-only", (640, 690), _Bend(840, 600, 966, 0), (1000, 0),
              _Bend(880, 880, 640, 990)),
        # The head of the middle pillar.
        _block("braced", 490, 745, 555, 965),
        _edge(15),
    ),
)  # fmt: skip

_LONG_RAIL = _Drawing(
    path=(
        (0, 0), (34, 0), _Bend(180, 560, 380, 660), _Bend(500, 690, 640, 690),
        _Bend(830, 690, 1000, 630), (1000, 940), _Bend(830, 1000, 640, 1000),
        _Bend(500, 1000, 380, 975), _Bend(160, 860, 0, 0),
    ),
    zones=(
        _area("glue-only", (0, 0), (34, 0), _Bend(180, 560, 380, 660), (380, 975),
              _Bend(160, 860, 0, 0)),
        _area("glue-only", (640, 690), _Bend(830, 690, 1000, 630), (1000, 940),
              _Bend(830, 1000, 640, 1000)),
        _block("braced", 480, 725, 535, 955),
        _edge(15),
    ),
)  # fmt: skip

_BEDSIDE = _Drawing(
    path=(
        (0, 0), (240, 0), _Arc(480, 60, 225, 180, 0), (720, 0), (880, 20), (1000, 120),
        (1000, 420), (950, 430), _Bend(925, 440, 925, 500), (925, 840), _Bend(925, 900, 950, 905),
        (1000, 910), (1000, 1000), (0, 1000), (0, 700), (0, 120),
    ),
    zones=(
        _over_arch(480, 60, 225, 30),
        # The rim with the stake pockets.
        _block("braced", 50, 890, 900, 955),
        _block("glue-only", 0, 120, 70, 700),
        _block("glue-only", 930, 120, 1000, 420),
        _body_line((30, 760), (900, 760)),
        _edge(20),
    ),
)  # fmt: skip

_CAB_CORNER = _Drawing(
    path=(
        (0, 0), (1000, 0), (1000, 300), (1000, 590), (985, 640), _Bend(900, 900, 760, 1000),
        (330, 1000), _Bend(560, 850, 600, 620), _Bend(600, 400, 300, 260), _Bend(60, 160, 0, 0),
    ),
    zones=(
        # The pillar above the belt is closed; below, the bed is too near for a tool.
        _area("glue-only", (985, 640), _Bend(900, 900, 760, 1000), (330, 1000),
              _Bend(560, 850, 600, 620)),
        _block("braced", 650, 340, 930, 400),
        _block("glue-only", 600, 60, 1000, 260),
        _body_line((640, 520), (970, 520)),
        _edge(15),
    ),
)  # fmt: skip


# --- which drawing, and how large a part of the vehicle -----------------------------------


class _Share(NamedTuple):
    """A drawing, its box in thousandths of the vehicle (see `_SPANS` for which way)."""

    drawing: _Drawing
    across: int
    up: int


_SPANS: dict[str, tuple[int, int]] = {
    "hood": (1, 0), "roof": (1, 0), "decklid": (1, 0), "liftgate": (1, 2), "tailgate": (1, 2),
}  # fmt: skip
"""Which of length 0, width 1, height 2 a box's sides are shares of; for all others (0, 2)."""

_CAR_FENDER = _fender(548, 130, 322)
_TALL_FENDER = _fender(548, 120, 335)

_SHARES: dict[str, dict[str, _Share]] = {
    "sedan": {
        "hood": _Share(_HOOD, 820, 240),
        "roof": _Share(_roof(45, 40, 280, 650), 620, 290),
        "decklid": _Share(_DECKLID, 740, 165),
        "fender": _Share(_CAR_FENDER, 235, 470),
        "door-front": _Share(_front_door(880), 230, 470),
        "door-rear": _Share(_rear_door(1210, 132, 420), 215, 470),
        "quarter": _Share(_SEDAN_QUARTER, 300, 772),
        "rail": _Share(_RAIL, 480, 200),
    },
    "coupe": {
        "hood": _Share(_HOOD, 820, 265),
        "roof": _Share(_roof(50, 44, 450), 590, 260),
        "decklid": _Share(_DECKLID, 700, 155),
        "fender": _Share(_CAR_FENDER, 245, 485),
        "door-front": _Share(_front_door(905), 300, 485),
        "quarter": _Share(_COUPE_QUARTER, 385, 766),
        "rail": _Share(_RAIL, 460, 200),
    },
    "hatch": {
        "hood": _Share(_HOOD, 810, 230),
        "roof": _Share(_roof(38, 34, 230, 480, 730), 620, 390),
        "liftgate": _Share(_liftgate(480), 690, 600),
        "fender": _Share(_CAR_FENDER, 245, 465),
        "door-front": _Share(_front_door(880), 250, 465),
        "door-rear": _Share(_rear_door(1215, 132, 430), 215, 465),
        "quarter": _Share(_HATCH_QUARTER, 254, 762),
        "rail": _Share(_LONG_RAIL, 545, 200),
    },
    "wagon": {
        "hood": _Share(_HOOD, 815, 235),
        "roof": _Share(_roof(28, 26, 210, 470, 730), 620, 470),
        "liftgate": _Share(_liftgate(470), 700, 620),
        "fender": _Share(_CAR_FENDER, 235, 460),
        "door-front": _Share(_front_door(880), 230, 460),
        "door-rear": _Share(_rear_door(1210, 132, 420), 215, 460),
        "quarter": _Share(_quarter_with_window(307, 257), 295, 780),
        "rail": _Share(_LONG_RAIL, 620, 195),
    },
    "suv": {
        "hood": _Share(_HOOD, 820, 235),
        "roof": _Share(_roof(28, 26, 210, 470, 730), 630, 450),
        "liftgate": _Share(_liftgate(480), 700, 620),
        "fender": _Share(_TALL_FENDER, 242, 470),
        "door-front": _Share(_front_door(880), 235, 470),
        "door-rear": _Share(_rear_door(1220, 120, 440), 215, 470),
        "quarter": _Share(_quarter_with_window(350, 295), 275, 770),
        "rail": _Share(_LONG_RAIL, 600, 185),
    },
    "pickup": {
        "hood": _Share(_HOOD, 820, 225),
        "roof": _Share(_roof(35, 36, 280, 650), 640, 280),
        "tailgate": _Share(_TAILGATE, 744, 281),
        "fender": _Share(_TALL_FENDER, 220, 460),
        "door-front": _Share(_front_door(880), 200, 450),
        "door-rear": _Share(_CAB_DOOR, 180, 450),
        "rail": _Share(_RAIL, 400, 160),
        "bedside": _Share(_BEDSIDE, 318, 370),
        "cab-corner": _Share(_CAB_CORNER, 60, 676),
    },
    "van": {
        "hood": _Share(_HOOD, 780, 165),
        "roof": _Share(_roof(22, 20, 170, 380, 590, 800), 680, 600),
        "liftgate": _Share(_liftgate(450), 720, 700),
        "fender": _Share(_TALL_FENDER, 215, 430),
        "door-front": _Share(_front_door(880), 220, 440),
        "door-rear": _Share(_SLIDING_DOOR, 230, 440),
        "quarter": _Share(_quarter_with_window(307, 257), 294, 770),
        "rail": _Share(_LONG_RAIL, 690, 170),
    },
    "convertible": {
        "hood": _Share(_HOOD, 820, 265),
        "decklid": _Share(_DECKLID, 690, 150),
        "fender": _Share(_CAR_FENDER, 245, 490),
        "door-front": _Share(_front_door(900), 285, 490),
        "quarter": _Share(_OPEN_QUARTER, 385, 545),
    },
}
"""Every body's panels; left and right share a drawing (common practice, no source)."""

_RIGHT_SIDES = ("-r", "-fr", "-rr")


# --- from drawings to millimetres ---------------------------------------------------------


class _Box(NamedTuple):
    """A panel's box in millimetres, and what a thousandth across is in thousandths up."""

    width: Fraction
    height: Fraction
    roundness: Fraction

    def place(self, point: _Exact) -> Point:
        """A point in thousandths of the box as whole millimetres: the one rounding."""
        x, y = point
        return rounded(x * self.width / 1000), rounded(y * self.height / 1000)


@lru_cache(maxsize=256)
def outline(
    body: str,
    panel: str,
    length_mm: Decimal | int | None = None,
    width_mm: Decimal | int | None = None,
    height_mm: Decimal | int | None = None,
) -> Outline:
    """The generic outline of a body's panel, for a vehicle of this overall size.

    A size that is not given is the body's typical one. Raises ValueError for a body that is
    not known, a panel it has not, or a size that is not above zero.
    """
    kind = _known_kind(body, panel)
    given = zip(Size._fields, (length_mm, width_mm, height_mm), TYPICAL_SIZE[body], strict=True)
    size = [_overall(name, mm, typical) for name, mm, typical in given]
    share = _SHARES[body][kind]
    box = _box(share, _SPANS.get(kind, (0, 2)), size, TYPICAL_SIZE[body])
    ring = _ring(share.drawing.path, box)
    drawn = Outline(panel, ring, tuple(_zone(zone, box) for zone in share.drawing.zones))
    return _mirrored(drawn) if panel.endswith(_RIGHT_SIDES) else drawn


def area_mm2(ring: Sequence[Point]) -> Fraction:
    """The exact area inside a ring of whole millimetres, whichever way round it runs."""
    return abs(_signed_area(ring))


def area_range(body: str, panel: str) -> tuple[float, float]:
    """The lowest and highest plausible area of a body's panel, in square metres."""
    kind = _known_kind(body, panel)
    return AREA_RANGES.get(f"{body} {kind}") or AREA_RANGES[kind]


def _known_kind(body: str, panel: str) -> str:
    """What kind of panel it is, once body and panel are known to be right."""
    if body not in PANELS_OF_BODY:
        raise ValueError(f"no body {body!r}: one of {', '.join(PANELS_OF_BODY)}")
    if panel not in PANELS_OF_BODY[body]:
        panels = ", ".join(name for name in PANELS if name in PANELS_OF_BODY[body])
        raise ValueError(f"a {body} has no panel {panel!r}: one of {panels}")
    return _kind_of(panel)


def _kind_of(panel: str) -> str:
    """A panel's name without its side; a door's is front or rear."""
    name, _, side = panel.rpartition("-")
    if name == "door":
        return "door-front" if side in ("fl", "fr") else "door-rear"
    return name if side in ("l", "r") else panel


def _overall(name: str, given: Decimal | int | None, typical: int) -> Fraction:
    """One overall size of the vehicle, exactly."""
    size = Fraction(typical if given is None else given)
    if size <= 0:
        raise ValueError(f"{name} {given}: a vehicle's size is above zero")
    return size


def _box(share: _Share, spans: tuple[int, int], size: Sequence[Fraction], typical: Size) -> _Box:
    across, up = spans
    return _Box(
        width=size[across] * share.across / 1000,
        height=size[up] * share.up / 1000,
        roundness=Fraction(typical[across] * share.across, typical[up] * share.up),
    )


def _ring(path: _Path, box: _Box) -> tuple[Point, ...]:
    """A closed path in whole millimetres, counter-clockwise, no point twice in a row."""
    points = _line(path, box)
    if points[0] == points[-1]:
        points = points[:-1]
    return points if _signed_area(points) > 0 else points[::-1]


def _line(path: _Path, box: _Box) -> tuple[Point, ...]:
    """A path in whole millimetres; points that rounding brings together become one."""
    points: list[Point] = []
    for exact in _walk(path, box.roundness):
        point = box.place(exact)
        if not points or points[-1] != point:
            points.append(point)
    return tuple(points)


def _zone(zone: _Zone, box: _Box) -> Zone:
    if zone.form == "border":
        points: tuple[Point, ...] = ()
    else:
        points = _ring(zone.path, box) if zone.form == "area" else _line(zone.path, box)
    return Zone(zone.kind, zone.form, points, zone.reach_mm)


def _walk(path: _Path, roundness: Fraction) -> Iterator[_Exact]:
    """The points of a path, still in thousandths of the box."""
    here = (Fraction(0), Fraction(0))
    for step in path:
        if isinstance(step, _Bend):
            points = _bend_points(here, step)
        elif isinstance(step, _Arc):
            points = _arc_points(step, roundness)
        else:
            points = [(Fraction(step[0]), Fraction(step[1]))]
        yield from points
        here = points[-1]


def _bend_points(start: _Exact, bend: _Bend) -> list[_Exact]:
    """A quadratic curve in equal steps, without its start; the same points either way round."""

    def between(t: Fraction, start: Fraction, pull: int, end: int) -> Fraction:
        return (1 - t) ** 2 * start + 2 * t * (1 - t) * pull + t**2 * end

    steps = [Fraction(piece, _BEND_PIECES) for piece in range(1, _BEND_PIECES + 1)]
    return [
        (between(t, start[0], bend.pull_x, bend.x), between(t, start[1], bend.pull_y, bend.y))
        for t in steps
    ]


def _arc_points(arc: _Arc, roundness: Fraction) -> list[_Exact]:
    """A point every 15 degrees, first and last included."""
    turn = _ARC_STEP if arc.last >= arc.first else -_ARC_STEP
    return [
        (
            arc.x + Fraction(arc.radius * _cosine(angle), 1000),
            arc.y + Fraction(arc.radius * _cosine(angle - 90), 1000) * roundness,
        )
        for angle in range(arc.first, arc.last + turn, turn)
    ]


def _cosine(degrees: int) -> int:
    """In thousandths; `degrees` a multiple of 15."""
    turned = abs(degrees) % 360
    turned = min(turned, 360 - turned)
    if turned > 90:
        return -_COSINES[(180 - turned) // _ARC_STEP]
    return _COSINES[turned // _ARC_STEP]


def _signed_area(ring: Sequence[Point]) -> Fraction:
    """The shoelace sum, halved: positive if the ring runs counter-clockwise."""
    following = (*ring[1:], *ring[:1])
    sides = zip(ring, following, strict=True)
    twice = sum(x * next_y - next_x * y for (x, y), (next_x, next_y) in sides)
    return Fraction(twice, 2)


def _mirrored(drawn: Outline) -> Outline:
    """A left panel's outline as the right panel's: left and right exchanged in its box."""
    width = max(x for x, _ in drawn.ring)

    def turned(points: tuple[Point, ...]) -> tuple[Point, ...]:
        # Backwards, so that a ring stays counter-clockwise.
        return tuple((width - x, y) for x, y in reversed(points))

    zones = tuple(zone._replace(points=turned(zone.points)) for zone in drawn.zones)
    return Outline(drawn.panel, turned(drawn.ring), zones)
