"""Three invented books: the same script and seeds always write the same three files.

    python demo/storms/make_books.py            # book.csv into the folders beside this file
    python demo/storms/make_books.py FOLDER     # the same into other folders of that name

Plain Python, nothing of hailcalc. Nobody's vehicles are in it: every figure below was made up so
that the three storms earn for different reasons. The model, for each storm (`STORMS`):

- Vehicle: a body by chance, and an exposure drawn from a gamma distribution of mean 1 (some stood
  under a tree, some on an open hill); a few stood in the storm's core.
- Dents of a panel: Poisson, with a mean that is itself gamma distributed round
  severity x exposure x what the panel catches (`CATCHES`), so counts vary more than Poisson's
  (over-dispersed). Panels that lie flat catch most; on the side that the wind came from the
  upright ones catch three times as much as on the other.
- Sizes: each dent falls into a coin of the matrix, or beyond the largest, with chances that follow
  the storm's stones.
- Marks (braced, body line, sharp, edge): each dent with a chance. Some panels are pulled with
  glue, light damage rather than heavy; on those no dent is sharp or on a body line.
- Beyond the matrix's last count a bolted panel is mostly replaced and a welded one agreed with the
  adjuster; a few are left without a price.
- Course: vehicles come in on working days, the first days being the fullest; issued a day or two
  later, answered after a wait that differs by insurer, closed when answered and done. What lies
  after `as_of` has not happened yet. Some are withdrawn on the way.
- Supplements, discounts and loan cars by chance. Sums are whole or half dollars of no meaning.
"""

from __future__ import annotations

import csv
import math
import sys
from datetime import date, timedelta
from io import StringIO
from pathlib import Path
from random import Random
from typing import NamedTuple

COINS = ("dime", "nickel", "quarter", "half-dollar")
MARKS = ("braced", "body-line", "sharp", "edge")

FRONT = ("fender-l", "fender-r", "door-fl", "door-fr")
REAR_DOORS = ("door-rl", "door-rr")
QUARTERS = ("quarter-l", "quarter-r")
RAILS = ("rail-l", "rail-r")
BED = ("tailgate", "bedside-l", "bedside-r", "cab-corner-l", "cab-corner-r")
PANELS = {
    "sedan": ("hood", "roof", "decklid", *FRONT, *REAR_DOORS, *QUARTERS, *RAILS),
    "coupe": ("hood", "roof", "decklid", *FRONT, *QUARTERS, *RAILS),
    "hatch": ("hood", "roof", "liftgate", *FRONT, *REAR_DOORS, *QUARTERS, *RAILS),
    "suv": ("hood", "roof", "liftgate", *FRONT, *REAR_DOORS, *QUARTERS, *RAILS),
    "pickup": ("hood", "roof", *FRONT, *REAR_DOORS, *RAILS, *BED),
}
"""Outer panels of the bodies that these storms met, front to back."""

CATCHES = {
    "hood": 1.0, "roof": 1.25, "decklid": 0.6, "liftgate": 0.25, "tailgate": 0.12,
    "fender": 0.12, "door": 0.09, "quarter": 0.13, "rail": 0.2, "bedside": 0.13, "cab-corner": 0.06,
}  # fmt: skip
"""Dents of a panel, those of a hood being 1; left and right have one entry."""

CORE = 3.5

BOLTED = ("hood", "decklid", "liftgate", "tailgate", "fender-l", "fender-r")
FLAT = ("hood", "roof", "decklid")
NARROW = (*RAILS, "cab-corner-l", "cab-corner-r")


class Insurer(NamedTuple):
    """An invented insurer: its share of the vehicles, and how it answers."""

    name: str
    share: float
    wait: float
    """Days that half of its answers take at most."""
    pays: tuple[float, float]
    """Chances that a supplement is paid in full, in part; else not at all."""
    matrix: str = ""


class Storm(NamedTuple):
    """What a book is made from. Chances are of one, sizes those of `COINS` and beyond."""

    name: str
    prefix: str
    seed: int
    vehicles: int
    hail: date
    first_day: date
    last_day: date
    as_of: date
    severity: float
    """Mean dents on a hood of mean exposure."""
    exposure: float
    """Shape of the gamma distribution of exposure: the smaller, the more vehicles differ."""
    core: float
    """Chance that a vehicle stood in the storm's core, where `CORE` times as much fell."""
    glued: float
    """Chance that a flat or upright panel is pulled with glue instead of opened."""
    sizes: tuple[float, float, float, float, float]
    windward: str
    bodies: dict[str, float]
    aluminium: dict[str, float]
    """By body: the chance that its hood is aluminium; of pickups, that all outer panels are."""
    last: tuple[int, int, int]
    """Where the matrix ends: flat, upright, narrow panels."""
    insurers: tuple[Insurer, ...]
    technicians: tuple[str, ...]
    withdrawn: float
    never_issued: float
    supplements: float
    supplement: tuple[float, float]
    """Between which parts of the vehicle's rough value a supplement lies."""
    settles: int
    """Days that a claim takes at most from its answer, or the work's end, to its close."""
    discounts: float
    discount: tuple[int, int]
    loans: float
    loan_days: tuple[int, int]
    speed: float = 0.0
    """Rough value that a technician works off in a minute; 0: no days of repair in the book."""


SALTMARSH = Storm(
    name="saltmarsh-may",
    prefix="SM",
    seed=512,
    vehicles=384,
    hail=date(2026, 5, 12),
    first_day=date(2026, 5, 15),
    last_day=date(2026, 6, 6),
    as_of=date(2026, 6, 19),
    severity=3.4,
    exposure=1.3,
    core=0.0,
    glued=0.5,
    sizes=(0.62, 0.29, 0.08, 0.01, 0.0),
    windward="l",
    bodies={"sedan": 0.36, "hatch": 0.26, "suv": 0.26, "coupe": 0.05, "pickup": 0.07},
    aluminium={"sedan": 0.06, "hatch": 0.03, "suv": 0.09, "coupe": 0.12, "pickup": 0.15},
    last=(150, 80, 40),
    insurers=(
        Insurer("Nettlewick Farm Cover", 0.38, 3.0, (0.62, 0.24)),
        Insurer("Pindlebury Motor Friendly", 0.34, 4.0, (0.55, 0.25)),
        Insurer("Marrowfen Assurance Society", 0.18, 5.5, (0.48, 0.3)),
        Insurer("", 0.10, 1.5, (0.3, 0.3)),
    ),
    technicians=(
        "Ivo Pellwether", "Marta Quenby-Lark", "Osric Tallowin", "Noor Fenwhistle", "Bram Ullacott",
        "Pia Dunmallow",
    ),
    withdrawn=0.09,
    never_issued=0.012,
    supplements=0.1,
    supplement=(0.05, 0.25),
    settles=3,
    discounts=0.04,
    discount=(10, 40),
    loans=0.06,
    loan_days=(1, 3),
)  # fmt: skip

DROVERMOOR = Storm(
    name="drovermoor-june",
    prefix="DM",
    seed=621,
    vehicles=156,
    hail=date(2026, 6, 21),
    first_day=date(2026, 6, 29),
    last_day=date(2026, 7, 29),
    as_of=date(2026, 8, 7),
    severity=36.0,
    exposure=2.0,
    core=0.08,
    glued=0.03,
    sizes=(0.18, 0.33, 0.32, 0.15, 0.02),
    windward="r",
    bodies={"sedan": 0.15, "hatch": 0.07, "suv": 0.26, "coupe": 0.03, "pickup": 0.49},
    aluminium={"sedan": 0.12, "hatch": 0.06, "suv": 0.3, "coupe": 0.25, "pickup": 0.55},
    last=(150, 80, 40),
    insurers=(
        Insurer("Nettlewick Farm Cover", 0.44, 6.0, (0.6, 0.25)),
        Insurer("Thrumble Oake Vehicle Cover", 0.36, 7.0, (0.6, 0.22)),
        Insurer("Pindlebury Motor Friendly", 0.14, 5.0, (0.55, 0.25)),
        Insurer("", 0.06, 2.0, (0.4, 0.2)),
    ),
    technicians=(
        "Ivo Pellwether", "Osric Tallowin", "Bram Ullacott", "Signe Varnholt", "Dario Creekmoor",
        "Hana Oswinter", "Wenna Stroudhollow", "Eskil Marchbanks-Orrin",
    ),
    withdrawn=0.05,
    never_issued=0.006,
    supplements=0.34,
    supplement=(0.06, 0.22),
    settles=4,
    discounts=0.08,
    discount=(40, 160),
    loans=0.35,
    loan_days=(3, 9),
    speed=1.7,
)  # fmt: skip

TANSYWICK = Storm(
    name="tansywick-july",
    prefix="TW",
    seed=707,
    vehicles=205,
    hail=date(2026, 7, 7),
    first_day=date(2026, 7, 13),
    last_day=date(2026, 8, 15),
    as_of=date(2026, 9, 4),
    severity=24.0,
    exposure=1.6,
    core=0.03,
    glued=0.06,
    sizes=(0.34, 0.39, 0.2, 0.06, 0.01),
    windward="l",
    bodies={"sedan": 0.32, "hatch": 0.2, "suv": 0.34, "coupe": 0.04, "pickup": 0.1},
    aluminium={"sedan": 0.08, "hatch": 0.04, "suv": 0.15, "coupe": 0.15, "pickup": 0.3},
    last=(600, 74, 41),
    insurers=(
        Insurer("Larkspur & Thimble Mutual", 0.82, 17.0, (0.2, 0.26), "larkspur-agreed-2026"),
        Insurer("Marrowfen Assurance Society", 0.12, 9.0, (0.4, 0.3), "copperfin-2026"),
        Insurer("", 0.06, 2.0, (0.3, 0.3), "copperfin-2026"),
    ),
    technicians=(
        "Marta Quenby-Lark", "Osric Tallowin", "Noor Fenwhistle", "Hana Oswinter",
        "Lubin Thackersley", "Anselm Greywater", "Pia Dunmallow",
    ),
    withdrawn=0.11,
    never_issued=0.02,
    supplements=0.46,
    supplement=(0.08, 0.32),
    settles=12,
    discounts=0.55,
    discount=(20, 120),
    loans=0.3,
    loan_days=(2, 8),
)  # fmt: skip

STORMS = (SALTMARSH, DROVERMOOR, TANSYWICK)

VEHICLE = (
    "claim", "body", "equipment", "matrix", "insurer", "technician", "date_of_loss", "deductible",
    "other_part", "other_sublet", "other_refinish", "other_body", "drafted", "issued", "answered",
    "closed", "repaired", "state", "supplement_asked", "supplement_paid", "discount", "loan_days",
)  # fmt: skip
PANEL = (
    "panel", "metal", "repainted", "access", *COINS, *MARKS, "oversize", "agreed", "replace_cost",
)  # fmt: skip

DAY = 540
"""Minutes of a day's work."""

Cells = dict[str, str]


class Chance:
    """Draws from one seeded generator, by methods whose sequence of numbers Python keeps."""

    def __init__(self, seed: int) -> None:
        # Nothing is secret here; the same numbers each time are the point.
        self.random = Random(seed).random  # noqa: S311

    def happens(self, chance: float) -> bool:
        """Yes with a chance of one."""
        return self.random() < chance

    def between(self, low: float, high: float) -> float:
        """Any number between two, all alike."""
        return low + (high - low) * self.random()

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included."""
        return low + int(self.random() * (high - low + 1))

    def of(self, chances: dict[str, float]) -> str:
        """A name by its chance; chances add up to one."""
        left = self.random() * sum(chances.values())
        for name, chance in chances.items():
            left -= chance
            if left < 0:
                return name
        return name

    def normal(self) -> float:
        """Mean 0, spread 1 (Box and Muller)."""
        return math.sqrt(-2 * math.log(1 - self.random())) * math.cos(2 * math.pi * self.random())

    def gamma(self, shape: float) -> float:
        """Gamma of mean 1 (Marsaglia and Tsang, from memory; shape 1 or more)."""
        d = shape - 1 / 3
        while True:
            x = self.normal()
            v = (1 + x / math.sqrt(9 * d)) ** 3
            if v > 0 and math.log(1 - self.random()) < 0.5 * x * x + d - d * v + d * math.log(v):
                return d * v / shape

    def poisson(self, mean: float) -> int:
        """How often something happens: pieces of at most 30, each counted by multiplying."""
        happened = 0
        while mean > 30:
            mean -= 30
            happened += self._poisson(30)
        return happened + self._poisson(mean)

    def _poisson(self, mean: float) -> int:
        least, product, happened = math.exp(-mean), self.random(), 0
        while product > least:
            product *= self.random()
            happened += 1
        return happened

    def share(self, number: int, chance: float) -> int:
        """How many of so many, each with the chance."""
        return sum(self.happens(chance) for _ in range(number))


def book(storm: Storm) -> str:
    """The book of a storm as CSV text."""
    chance = Chance(storm.seed)
    rows: list[Cells] = []
    for number in range(1, storm.vehicles + 1):
        rows += vehicle_rows(storm, f"{storm.prefix}-{number:04}", chance)
    if storm.speed:
        write_repairs(storm, rows)
    columns = [
        *(name for name in VEHICLE if any(row.get(name) for row in rows)),
        *PANEL,
    ]
    out = StringIO()
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def vehicle_rows(storm: Storm, claim: str, chance: Chance) -> list[Cells]:
    """The rows of one vehicle: its panels with dents, at least its hood or roof."""
    body = chance.of(storm.bodies)
    insurer = insurer_of(storm, chance)
    panels = damaged_panels(storm, body, chance)
    rough = rough_value(panels)
    vehicle = {
        "claim": claim,
        "body": body,
        "equipment": equipment_of(body, chance),
        "matrix": insurer.matrix,
        "insurer": insurer.name,
        "technician": storm.technicians[chance.whole(0, len(storm.technicians) - 1)],
        "date_of_loss": storm.hail.isoformat(),
        "deductible": chance.of({"0.00": 0.15, "250.00": 0.25, "500.00": 0.45, "1000.00": 0.15})
        if insurer.name
        else "0.00",
    }
    vehicle |= other_lines(panels, chance)
    vehicle |= course(storm, insurer, rough, chance)
    return [vehicle | panel for panel in panels]


def rough_value(panels: list[Cells]) -> float:
    """What such damage is worth by a rule of thumb: only supplements and repair days hang on it."""
    dents = sum(int(panel[coin]) for panel in panels for coin in COINS if panel[coin])
    return 90 + 35 * len(panels) + 4.5 * dents


def write_repairs(storm: Storm, rows: list[Cells]) -> None:
    """The day on which each vehicle was repaired, those first that came first.

    Whoever is free takes the next, the day after it came at the earliest; 9 hours a day, no
    Sundays. Random numbers of its own: nothing else in the book hangs on it.
    """
    chance = Chance(storm.seed + 1)
    days = [storm.first_day + timedelta(day) for day in range(90)]
    days = [day for day in days if day.weekday() < 6]
    free = [0.0] * len(storm.technicians)
    vehicles: dict[str, list[Cells]] = {}
    for row in rows:
        if row["state"] not in ("draft", "withdrawn"):
            vehicles.setdefault(row["claim"], []).append(row)
    for panels in sorted(vehicles.values(), key=lambda panels: panels[0]["drafted"]):
        came = days.index(date.fromisoformat(panels[0]["drafted"])) + 1
        minutes = rough_value(panels) / storm.speed * math.exp(0.25 * chance.normal())
        finished = max(min(free), came * DAY) + minutes
        free[free.index(min(free))] = finished
        for panel in panels:
            panel |= up_to(storm.as_of, {"repaired": days[int(finished / DAY)]})


def insurer_of(storm: Storm, chance: Chance) -> Insurer:
    """The insurer of a vehicle; one without a name is nobody: the owner pays."""
    by_name = {insurer.name: insurer for insurer in storm.insurers}
    return by_name[chance.of({name: insurer.share for name, insurer in by_name.items()})]


def equipment_of(body: str, chance: Chance) -> str:
    """What has to come off if it is there."""
    has = []
    if chance.happens(0.22):
        has.append("sunroof")
    if body in ("suv",) and chance.happens(0.45):
        has.append("roof-rack")
    if chance.happens(0.4):
        has.append("roof-antenna")
    return ";".join(has)


def damaged_panels(storm: Storm, body: str, chance: Chance) -> list[Cells]:
    """Panels with dents. A vehicle with none would not have come in, so it is drawn again."""
    all_aluminium = body == "pickup" and chance.happens(storm.aluminium[body])
    light_hood = body != "pickup" and chance.happens(storm.aluminium[body])
    while True:
        exposure = chance.gamma(storm.exposure) * (CORE if chance.happens(storm.core) else 1)
        found = []
        for panel in PANELS[body]:
            kind, side = kind_and_side(panel)
            catches = CATCHES[kind]
            if side:
                catches *= 1.5 if side == storm.windward else 0.5
            mean = storm.severity * exposure * catches * chance.gamma(2.5)
            number = chance.poisson(mean)
            if number:
                metal = "aluminium" if all_aluminium or (light_hood and panel == "hood") else ""
                found.append(panel_cells(storm, panel, number, metal, chance))
        if found:
            return found


def kind_and_side(panel: str) -> tuple[str, str]:
    """What a panel is and on which side, "" in the middle: door-rl is a door on the left."""
    kind, _, end = panel.rpartition("-")
    return (kind, end[-1]) if kind else (panel, "")


def panel_cells(storm: Storm, panel: str, number: int, metal: str, chance: Chance) -> Cells:
    """The cells of a panel with so many dents."""
    sizes = dict(zip((*COINS, "beyond"), storm.sizes, strict=True))
    drawn = [chance.of(sizes) for _ in range(number)]
    counts = {coin: drawn.count(coin) for coin in COINS}
    beyond = [f"{chance.between(31, 52):.0f}" for size in drawn if size == "beyond"]
    repainted = chance.happens(0.04)
    access = "push"
    if not repainted and chance.happens(max(0.3, storm.glued) if panel in NARROW else storm.glued):
        access = "glue"
    chances = {"braced": 0.1 if panel in FLAT else 0.03, "edge": 0.04}
    if access == "push":
        chances |= {"body-line": 0.02 if panel in FLAT else 0.08, "sharp": 0.025}
    cells = {
        "panel": panel,
        "metal": metal,
        "repainted": "yes" if repainted else "",
        "access": access,
        "oversize": "; ".join(beyond),
    }
    cells |= {coin: str(count) if count else "" for coin, count in counts.items()}
    for mark, each in chances.items():
        marked = chance.share(sum(counts.values()), each)
        cells[mark] = str(marked) if marked else ""
    last = storm.last[0 if panel in FLAT else 2 if panel in NARROW else 1]
    if sum(counts.values()) > last:
        cells |= beyond_the_matrix(panel, chance)
    return cells


def beyond_the_matrix(panel: str, chance: Chance) -> Cells:
    """A panel that no cell prices: replaced, agreed, or for now without a price."""
    if chance.happens(0.12):
        return {}
    if panel in BOLTED and chance.happens(0.75):
        return {"access": "replace", "replace_cost": sum_text(chance.between(420, 980))}
    return {"agreed": sum_text(chance.between(780, 1450))}


def other_lines(panels: list[Cells], chance: Chance) -> Cells:
    """Parts, sublet work, and the painting and fitting of replaced panels."""
    cells: Cells = {}
    replaced = sum(panel["access"] == "replace" for panel in panels)
    if chance.happens(0.08):
        cells["other_part"] = sum_text(chance.between(25, 190))
    if chance.happens(0.06):
        cells["other_sublet"] = sum_text(chance.between(120, 430))
    if replaced:
        cells["other_refinish"] = sum_text(replaced * chance.between(260, 390))
        cells["other_body"] = sum_text(replaced * chance.between(60, 140))
    return cells


def course(storm: Storm, insurer: Insurer, rough: float, chance: Chance) -> Cells:
    """Days, state and money of a claim's way from draft to closed."""
    drafted = arrival(storm, chance)
    issued = next_working(drafted + timedelta(chance.whole(0, 2)))
    answered = issued + timedelta(max(1, round(insurer.wait * math.exp(0.6 * chance.normal()))))
    answered = next_working(answered)
    done = drafted + timedelta(chance.whole(2, 9))
    closed = next_working(max(answered, done) + timedelta(chance.whole(0, storm.settles)))
    supplement = supplement_of(storm, insurer, rough, chance)
    if chance.happens(storm.withdrawn):
        days = withdrawal(drafted, issued, answered, chance)
        return {"state": "withdrawn"} | up_to(storm.as_of, days)
    if chance.happens(storm.never_issued):
        return {"state": "draft", "drafted": drafted.isoformat()}
    days = {"drafted": drafted, "issued": issued, "answered": answered, "closed": closed}
    cells = up_to(storm.as_of, days)
    state = "agreed" if "closed" in cells else "answered" if "answered" in cells else "issued"
    cells["state"] = state
    if state != "issued" or chance.happens(0.3):
        cells |= supplement
        if state != "agreed" and chance.happens(0.7):
            # Asked and not answered yet.
            cells.pop("supplement_paid", None)
    if state == "agreed" and chance.happens(storm.discounts):
        cells["discount"] = sum_text(chance.whole(*storm.discount))
    if chance.happens(storm.loans):
        cells["loan_days"] = str(chance.whole(*storm.loan_days))
    return cells


def arrival(storm: Storm, chance: Chance) -> date:
    """A working day on the lot, the earlier the likelier; none in the last five days."""
    days = (storm.last_day - storm.first_day).days - 5
    while True:
        day = storm.first_day + timedelta(int(days * (1 - math.sqrt(chance.random()))))
        if day.weekday() < 6:
            return day


def withdrawal(drafted: date, issued: date, answered: date, chance: Chance) -> dict[str, date]:
    """The days of a claim taken back: before it was issued, before or after its answer."""
    when = chance.random()
    if when < 0.3:
        return {"drafted": drafted, "closed": drafted + timedelta(chance.whole(1, 6))}
    if when < 0.6:
        return {
            "drafted": drafted,
            "issued": issued,
            "closed": issued + timedelta(chance.whole(1, 8)),
        }
    return {
        "drafted": drafted,
        "issued": issued,
        "answered": answered,
        "closed": answered + timedelta(chance.whole(0, 5)),
    }


def up_to(as_of: date, days: dict[str, date]) -> Cells:
    """The days that have come by `as_of`."""
    return {name: day.isoformat() for name, day in days.items() if day <= as_of}


def supplement_of(storm: Storm, insurer: Insurer, rough: float, chance: Chance) -> Cells:
    """What was asked later, and what of it was paid."""
    if not chance.happens(storm.supplements):
        return {}
    asked = round(rough * chance.between(*storm.supplement) / 5) * 5 or 5
    full, part = insurer.pays
    outcome = chance.random()
    if outcome < full:
        paid = asked
    else:
        paid = round(asked * chance.between(0.2, 0.7)) if outcome < full + part else 0
    return {"supplement_asked": f"{asked}.00", "supplement_paid": f"{paid}.00"}


def next_working(day: date) -> date:
    """The day, or the Monday after it: offices answer on no weekend."""
    return day + timedelta(max(0, 7 - day.weekday())) if day.weekday() > 4 else day


def sum_text(amount: float) -> str:
    """A sum in half dollars."""
    halves = round(amount * 2)
    return f"{halves // 2}.{'50' if halves % 2 else '00'}"


def main(folder: Path) -> None:
    """Write the three books."""
    for storm in STORMS:
        path = folder / storm.name / "book.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(book(storm), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
