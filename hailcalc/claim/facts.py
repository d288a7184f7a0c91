"""What a sheet says beside its lines: of claim, vehicle and each panel, and what of it changed.

Read from the sheet as it was issued. A number or a VIN is corrected, a count is changed within
its band: the sums may stay, and whoever compares two sheets still has to be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from hailcalc.lines import dents

Table = Mapping[str, Any]


class FactChange(NamedTuple):
    """Something said of a claim, a vehicle or a panel, as it was and is; None: not said."""

    label: str
    old: str | None
    new: str | None

    @property
    def words(self) -> str:
        """Both in one phrase."""
        return f"{self.old or 'nothing'} → {self.new or 'nothing'}"


class _Fact(NamedTuple):
    """`text` as people read it, `raw` what is compared; both None where nothing is said."""

    label: str
    text: str | None
    raw: Any


def claim_changes(old: Table, new: Table) -> tuple[FactChange, ...]:
    """What two sheets say otherwise of the claim, the vehicle and the matrix."""
    return tuple(_changed(_of_claim(old), _of_claim(new)))


def panel_changes(old: Table, new: Table) -> tuple[FactChange, ...]:
    """What two claim files say otherwise of one panel."""
    return tuple(_changed(_of_panel(old), _of_panel(new)))


def matrix_words(header: Table) -> str:
    """Which matrix priced a sheet, by its first table."""
    return f"{header['name']}, its revision {header.get('revision', 1)}"


def _changed(old: Iterator[_Fact], new: Iterator[_Fact]) -> Iterator[FactChange]:
    for before, after in zip(old, new, strict=True):
        if before.raw != after.raw:
            text = after.text
            if text == before.text:
                text = f"{text}, otherwise in detail"
            yield FactChange(after.label, before.text, text)


def _of_claim(sheet: Table) -> Iterator[_Fact]:
    """In the order of the sheet. What the totals say is left to them."""
    file, matrix = sheet["claim_file"], sheet["matrix"]["matrix"]
    claim, vehicle = file["claim"], file["vehicle"]
    yield _said("Claim number", claim.get("number"))
    yield _said("Date of loss", claim.get("date_of_loss"))
    yield _said("Insurer", claim.get("insurer"))
    yield _said("Customer", claim.get("customer"))
    yield _said("Estimator", claim.get("estimator"))
    yield _listed("Place of loss", claim.get("loss_location"), _place)
    yield _said("Body", vehicle.get("body"))
    yield _said("VIN", vehicle.get("vin"))
    yield _said("Vehicle", vehicle.get("description"))
    yield _said("Value before the loss", vehicle.get("value"))
    for side in ("length", "width", "height"):
        yield _said(f"{side.capitalize()} in mm", vehicle.get(f"{side}_mm"))
    equipment = sorted(vehicle.get("equipment", ()))
    yield _listed("Equipment", equipment, ", ".join)
    yield _listed("Shop", file.get("shop"), lambda shop: str(shop["name"]))
    yield _said("Panel temperature", file.get("conditions", {}).get("panel_temperature_c"))
    yield _Fact("Matrix", matrix_words(matrix), sheet["matrix"])
    yield _listed("Photographs", file.get("photographs"), lambda all_: str(len(all_)))


def _of_panel(panel: Table) -> Iterator[_Fact]:
    """Where nothing is said a panel is steel, in its first paint, and pushed."""
    yield _listed("Tally", _counts(panel.get("tally")), _sizes)
    marked = {mark: _counts(tally) for mark, tally in panel.get("marked", {}).items()}
    marked = {mark: tally for mark, tally in marked.items() if tally}
    yield _listed("Marked", marked, _marks)
    yield _listed("Oversize", panel.get("oversize"), _millimetres)
    yield _listed("Measured", panel.get("dents"), lambda each: dents(len(each)))
    yield _listed("Sampled", panel.get("sample"), _squares)
    yield _said("Metal", panel.get("metal", "steel"))
    yield _said("Paint", "repainted" if panel.get("repainted") else "original")
    yield _said("Access", panel.get("access", "push"))
    yield _listed("Outline", panel.get("outline"), lambda _: "the shop's own")
    yield _listed("Zones", panel.get("zones"), lambda zones: str(len(zones)))
    yield _said("Replacement", panel.get("replace_cost"))
    yield _said("Replacement, minutes", panel.get("replace_minutes"))
    yield _said("Agreed price", panel.get("agreed"))
    yield _said("Note", panel.get("note"))


def _said(label: str, value: Any) -> _Fact:
    """A value as it stands; an empty one says nothing."""
    text = None if value in (None, "") else str(value)
    return _Fact(label, text, text)


def _listed(label: str, value: Any, words: Any) -> _Fact:
    """A value told in `words`; an empty one says nothing."""
    return _Fact(label, words(value), value) if value else _Fact(label, None, None)


def _counts(tally: Table | None) -> dict[str, int]:
    return {size: count for size, count in (tally or {}).items() if count}


def _sizes(tally: Table) -> str:
    return ", ".join(f"{count} {size}" for size, count in tally.items())


def _marks(marked: Table) -> str:
    return "; ".join(f"{mark}: {_sizes(tally)}" for mark, tally in marked.items())


def _millimetres(oversize: Any) -> str:
    return ", ".join(f"{dent['mm']} mm" for dent in oversize)


def _squares(sample: Table) -> str:
    number = len(sample["squares"])
    return f"{number} square{'' if number == 1 else 's'} of {sample['side_mm']} mm"


def _place(point: Table) -> str:
    return f"{point['lat']}, {point['lon']}"
